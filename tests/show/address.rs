//! Addresses of parameters.

use super::*;

#[test]
fn addresses_name_parameters_and_resolve() {
    let show = full_show();
    let contrast = kind("contrast");
    let split = kind("split-tone");
    let balance = |field| Slot::Balance { shot: 2, field };
    let cases = [
        ("balance/exposure", Some(balance(Exposure)), Some(0.1 + 0.2)),
        ("balance/offset-r", Some(balance(OffsetR)), Some(-60.0)),
        ("balance/offset-g", Some(balance(OffsetG)), Some(1e-7)),
        ("balance/offset-b", Some(balance(OffsetB)), Some(0.0)),
        ("balance/warmth", Some(balance(Warmth)), Some(12.5)),
        ("framing/pan-x", Some(Slot::Framing { shot: 2, field: FramingField::PanX }), Some(0.1 + 0.2)),
        ("framing/scale", Some(Slot::Framing { shot: 2, field: FramingField::Scale }), Some(1.0 / 3.0)),
        ("look/strength", Some(Slot::LookStrength), Some(0.75)),
        (
            "look/contrast/strength",
            Some(Slot::Strength { list: List::Look, at: 0, kind: contrast }),
            Some(1.5),
        ),
        (
            "look/3/toe",
            Some(Slot::Parameter { list: List::Look, at: 2, kind: contrast, index: 1 }),
            Some(0.25),
        ),
        ("look/2/strength", Some(Slot::Strength { list: List::Look, at: 1, kind: split }), Some(1.0)),
        (
            "before/1/slope",
            Some(Slot::Parameter { list: List::Before, at: 0, kind: contrast, index: 0 }),
            Some(1.0),
        ),
        (
            "finish/split-tone/width",
            Some(Slot::Parameter { list: List::Finish, at: 0, kind: split, index: 4 }),
            Some(2.0),
        ),
        // These could exist, but not in this show.
        ("look/2/slope", None, None),
        ("look/4/slope", None, None),
        ("finish/contrast/slope", None, None),
    ];
    for (text, slot, value) in cases {
        let address = Address::parse(text).unwrap();
        assert_eq!(address.to_string(), text);
        assert_eq!(check_address(text), Ok(()));
        assert_eq!(show.resolve(&address, 2), slot, "{text}");
        assert_eq!(slot.and_then(|s| show.get(s)), value, "{text}");
        if let Some(slot) = slot {
            assert_eq!(slot.parameter().key, text.rsplit('/').next().unwrap());
            assert_eq!(show.resolve(&show.address(slot), 2), Some(slot), "{text}");
        }
    }
    for address in ["balance/exposure", "framing/scale"] {
        assert_eq!(show.resolve(&Address::parse(address).unwrap(), 3), None);
    }
    // By kind where that finds it, else by position.
    assert_eq!(
        show.address(Slot::Strength { list: List::Before, at: 0, kind: contrast }).to_string(),
        "before/contrast/strength"
    );
    assert_eq!(
        show.address(Slot::Strength { list: List::Look, at: 2, kind: contrast }).to_string(),
        "look/3/strength"
    );
    // A slot from another time reads nothing rather than something else.
    assert_eq!(show.get(Slot::Strength { list: List::Look, at: 1, kind: contrast }), None);
    assert_eq!(show.get(Slot::Strength { list: List::Look, at: 9, kind: contrast }), None);
}

#[test]
fn every_declared_parameter_has_an_address() {
    for parameter in BALANCE {
        assert_eq!(check_address(&format!("balance/{}", parameter.key)), Ok(()));
    }
    for parameter in FRAMING {
        assert_eq!(check_address(&format!("framing/{}", parameter.key)), Ok(()));
    }
    for (list, declaration) in List::ALL.into_iter().flat_map(|l| STAGES.iter().map(move |d| (l, d))) {
        for key in declaration.parameters.iter().map(|p| p.key).chain(["strength"]) {
            for which in [declaration.key, "1"] {
                assert_eq!(check_address(&format!("{}/{which}/{key}", list.key())), Ok(()));
            }
        }
    }
    assert_eq!((LOOK_STRENGTH.min, LOOK_STRENGTH.default, LOOK_STRENGTH.max), (0.0, 1.0, 1.5));
}

#[test]
fn addresses_that_no_show_could_have_are_refused_with_what_could() {
    let cases = [
        ("", "it has another form", "balance/exposure"),
        ("balance", "it has another form", "look/strength"),
        ("balance/exposure/x", "it has another form", "LIST/STAGE/PARAMETER"),
        ("before/strength", "it has another form", "before, look or finish"),
        ("Look/strength", "it has another form", "look/strength"),
        ("look/contrast", "it has another form", "look/strength"),
        ("middle/contrast/slope", "it has another form", "before, look or finish"),
        ("balance/gain", "balance has no \"gain\"", "balance/exposure, balance/warmth, balance/tint"),
        (
            "framing/size",
            "framing has no \"size\"",
            "framing/fitting, framing/pan-x, framing/pan-y, framing/scale",
        ),
        ("framing", "it has another form", "framing/scale"),
        ("look/kontrast/slope", "there is no stage \"kontrast\"", "contrast, split-tone, "),
        ("look/0/slope", "there is no stage \"0\"", "a position from 1"),
        ("look/-1/slope", "there is no stage \"-1\"", "a position from 1"),
        ("look/contrast/width", "contrast has no \"width\"", "strength, slope, toe, shoulder"),
        ("look/2/speed", "2 has no \"speed\"", "strength, slope, toe, shoulder, shadow-hue"),
        ("look/contrast/slope/", "it has another form", "look/strength"),
    ];
    for (text, wrong, accepted) in cases {
        let said = check_address(text).unwrap_err();
        assert!(said.starts_with(&format!("no parameter is called {text:?}: {wrong}; accepted: ")), "{said}");
        assert!(said.split("; accepted: ").nth(1).unwrap().contains(accepted), "{said}");
    }
}
