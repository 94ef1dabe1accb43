//! Displays, trims, calibrations and a show's own table in `show.toml`.

use greyhold::colour::{Aces2, BT709, BT2020, Curve, D65, P3_D65, White};

use super::*;

/// A show's text with lines put in after its `[show]` part.
fn text(more: &str) -> String {
    format!("version = 1\n[show]\nname = \"s\"\nrate = \"24\"\ntransform = \"aces2\"\n{more}")
}

fn show_of(more: &str) -> Show {
    read(&text(more), Path::new("show.toml")).unwrap_or_else(|e| panic!("{e}"))
}

/// The line and message of a refusal.
fn refusal(text: &str) -> (usize, String) {
    match read(text, Path::new("a/show.toml")).unwrap_err() {
        e @ ShowError::Text { line, .. } => (line, e.to_string()),
        e => panic!("{e}"),
    }
}

#[test]
fn a_display_is_what_its_table_says() {
    let show = show_of(
        "[outputs]\nclient = \"suite\"\n[display.suite]\npeak = 600\nprimaries = \"bt2020\"\nlimit = \"p3-d65\"\ntransfer = \"pq\"\n",
    );
    let d = &show.outputs.client.display;
    assert_eq!((&*d.id, &*d.name, d.peak, d.white), ("suite", "suite", 600.0, White::Own));
    assert_eq!((d.primaries, d.limit, d.curve), (BT2020, P3_D65, Curve::Pq { peak: 600.0 }));
    assert_eq!(show.display("suite").as_ref(), Some(d));
    assert_eq!(show.outputs.desk.display.id, "rec709");
    let [wide, theatre] = &full_show().displays[..] else { panic!() };
    assert_eq!((wide.limit, wide.curve), (BT709, Curve::Power { gamma: 2.35 }));
    assert_eq!(wide.primaries.rgb, [[0.6791, 0.3204], [0.2652, 0.6899], [0.1498, 0.0603]]);
    assert_eq!(wide.primaries.white, D65);
    assert_eq!((theatre.limit, theatre.white), (P3_D65, White::D60));
}

#[test]
fn every_transfer_has_its_curve_and_comes_back() {
    for (name, curve) in [
        ("bt1886", Curve::Power { gamma: 2.4 }),
        ("srgb", display("srgb").unwrap().curve),
        ("gamma 2.2", Curve::Power { gamma: 2.2 }),
        ("gamma 2.6", Curve::Power { gamma: 2.6 }),
        ("pq", Curve::Pq { peak: 1000.0 }),
        ("hlg", Curve::Hlg { peak: 1000.0 }),
        ("linear", Curve::Linear),
    ] {
        let show =
            show_of(&format!("[display.d]\npeak = 1000\nprimaries = \"bt2020\"\ntransfer = \"{name}\"\n"));
        assert_eq!(show.displays[0].curve, curve);
        assert_eq!(read(&write(&show).unwrap(), Path::new("s")).unwrap(), show);
    }
}

/// A display that is written out as a built-in one gives its very signal.
#[test]
fn a_built_in_display_written_out_is_the_same() {
    let show = show_of(
        "[display.mine]\npeak = 1000\nprimaries = \"bt2020\"\nlimit = \"p3-d65\"\ntransfer = \"pq\"\n\
         [display.other]\npeak = 100\nprimaries = \"bt709\"\ntransfer = \"srgb\"\n",
    );
    for (mine, built_in) in show.displays.iter().zip(["rec2100-pq-1000-p3", "srgb"]) {
        let built_in = display(built_in).unwrap();
        assert!(mine.same_signal(built_in));
        assert!(Arc::ptr_eq(&Aces2::of(mine), &Aces2::of(built_in)), "tables are shared");
    }
}

#[test]
fn what_no_display_can_be_is_refused_in_its_line() {
    let good = [
        ("peak", "100"),
        ("primaries", "\"p3-d65\""),
        ("limit", "\"bt709\""),
        ("transfer", "\"bt1886\""),
        ("white", "\"d60\""),
    ];
    let with = |key: &str, value: Option<&str>| {
        let lines = good.map(|(k, v)| match (k == key, value) {
            (true, None) => "#\n".to_owned(),
            (true, Some(value)) => format!("{k} = {value}\n"),
            _ => format!("{k} = {v}\n"),
        });
        text(&format!("[display.mine]\n{}", lines.concat()))
    };
    assert!(read(&with("", None), Path::new("s")).is_ok());
    let set =
        |r: &str, g: &str, b: &str, w: &str| format!("{{ red = {r}, green = {g}, blue = {b}, white = {w} }}");
    let white = "[0.3127, 0.329]";
    let line = set("[0.6, 0.3]", "[0.5, 0.35]", "[0.4, 0.4]", white);
    let point = set("[0.3, 0.3]", "[0.3, 0.3]", "[0.3, 0.3]", white);
    let clockwise = set("[0.3, 0.6]", "[0.64, 0.33]", "[0.15, 0.06]", white);
    let outside = set("[0.64, 0.33]", "[0.3, 0.6]", "[0.15, 0.06]", "[0.1, 0.8]");
    let flat = set("[0.7, 0.0]", "[0.3, 0.6]", "[0.15, 0.06]", white);
    let not_a_number = set("[nan, 0.33]", "[0.3, 0.6]", "[0.15, 0.06]", white);
    let endless = set("[0.64, 0.33]", "[inf, 0.6]", "[0.15, 0.06]", white);
    let three = set("[0.64, 0.33, 0.03]", "[0.3, 0.6]", "[0.15, 0.06]", white);
    let beyond = set("[0.7347, 0.2653]", "[0.1, 0.87]", "[0.12, 0.02]", "[0.32168, 0.33767]");
    let below = set("[0.7347, 0.2653]", "[0.0, 1.0]", "[0.0001, -0.077]", "[0.32168, 0.33767]");
    let no_d60 = set("[0.45, 0.3]", "[0.4, 0.5]", "[0.34, 0.33]", "[0.38, 0.37]");
    let unknown = "{ red = [0.64, 0.33], green = [0.3, 0.6], blue = [0.15, 0.06], whiter = [0.3, 0.3] }";
    let cases: &[(&str, Option<&str>, usize, &str)] = &[
        ("peak", Some("0"), 7, "100 to 10000"),
        ("peak", Some("-100"), 7, "100 to 10000"),
        ("peak", Some("48"), 7, "cinema's 48 count as 100"),
        ("peak", Some("nan"), 7, "100 to 10000"),
        ("peak", Some("inf"), 7, "100 to 10000"),
        ("peak", Some("\"bright\""), 7, "100 to 10000"),
        ("peak", None, 6, "lacks peak"),
        ("primaries", None, 6, "lacks primaries"),
        ("primaries", Some("\"p4\""), 8, "bt709, p3-d65, bt2020"),
        ("primaries", Some("7"), 8, "bt709, p3-d65, bt2020"),
        ("primaries", Some(unknown), 8, "red, green, blue, white"),
        ("primaries", Some(&line), 8, "on a line"),
        ("primaries", Some(&point), 8, "on a line"),
        ("primaries", Some(&clockwise), 8, "clockwise"),
        ("primaries", Some(&outside), 8, "white is not inside"),
        ("primaries", Some(&flat), 8, "next to 0"),
        ("primaries", Some(&below), 8, "next to 0 or below"),
        ("limit", Some(&no_d60), 9, "cannot mix that"),
        ("primaries", Some(&not_a_number), 8, "each from -1 to 2"),
        ("primaries", Some(&endless), 8, "each from -1 to 2"),
        ("primaries", Some(&three), 8, "each from -1 to 2"),
        ("limit", Some("\"bt2020\""), 9, "limit goes beyond primaries"),
        ("limit", Some(&beyond), 9, "ACEScg"),
        ("transfer", None, 6, "lacks transfer"),
        ("transfer", Some("\"gamma\""), 10, "gamma 2.2 (1 to 4)"),
        ("transfer", Some("\"gamma nan\""), 10, "gamma 2.2 (1 to 4)"),
        ("transfer", Some("\"gamma 0\""), 10, "gamma 2.2 (1 to 4)"),
        ("transfer", Some("\"hlg\""), 10, "bt2020"),
        ("white", Some("\"d50\""), 11, "d60, own"),
    ];
    for (key, value, line, said) in cases {
        let (at, message) = refusal(&with(key, *value));
        assert!(
            at == *line && message.contains(said) && message.contains("accepted: "),
            "{key} {value:?}: {message}"
        );
        assert!(message.starts_with("a/show.toml:"), "{message}");
    }
    for (more, line, said) in [
        ("[display.rec709]\n", 6, "comes with the program"),
        ("[display.rec709-d60]\n", 6, "comes with the program"),
        ("[display.\"two words\"]\n", 6, "letters, digits"),
        ("[display]\nmine = 3\n", 7, "[display.mine]"),
        (
            "[display.m]\npeak = 100\nprimaries = \"bt709\"\ntransfer = \"srgb\"\ngamma = 2\n",
            10,
            "no key \"gamma\"",
        ),
        ("[display.m]\npeak = 4000\nprimaries = \"bt2020\"\ntransfer = \"hlg\"\n", 7, "400 to 2000"),
        ("[outputs]\nclient = \"mine\"\n", 7, "rec2100-hlg-1000"),
        ("[outputs]\nclient = 3\n", 7, "the name of a display, or a table [outputs.client]"),
        ("[outputs.wall]\ndisplay = \"srgb\"\n", 6, "desk, client, files"),
        ("[outputs.client]\ndisplay = \"mine\"\n", 7, "rec709"),
        ("[outputs.client]\ndisplays = \"srgb\"\n", 7, "display, calibration, trim"),
        ("[outputs.client]\ncalibration = \"gone.cube\"\n", 7, "gone.cube could not be read"),
        ("[outputs.client.trim]\nexposure = 5\n", 7, "from -4 to 4"),
        ("[outputs.client.trim]\nexposure = nan\n", 7, "from -4 to 4"),
        ("[outputs.client.trim]\ngamma = 1\n", 7, "exposure, saturation, roll-off"),
    ] {
        let (at, message) = refusal(&text(more));
        assert!(at == line && message.contains(said), "{more}: {message}");
    }
}

/// ACES 2.0's tables and matrices are numbers for whatever display is let through.
#[test]
fn displays_that_are_let_through_render() {
    let mut seed = 7u32;
    let mut random = move |from: f64, to: f64| {
        seed = seed.wrapping_mul(1664525).wrapping_add(1013904223);
        from + (to - from) * f64::from(seed >> 8) / f64::from(1u32 << 24)
    };
    let mut count = 0;
    for n in 0..300 {
        let xy = |x, y| format!("[{x:.4}, {y:.4}]");
        let (r, g) = (xy(random(0.4, 0.75), random(0.2, 0.4)), xy(random(0.1, 0.45), random(0.4, 0.85)));
        let (b, w) = (xy(random(0.1, 0.3), random(0.02, 0.3)), xy(random(0.25, 0.4), random(0.25, 0.4)));
        let white = if n % 2 == 0 { "own" } else { "d60" };
        let peak = random(100.0, 10_000.0);
        let made = read_displays(
            &format!(
                "version = 1\n[display.d]\npeak = {peak}\ntransfer = \"pq\"\nwhite = \"{white}\"\n\
                 primaries = {{ red = {r}, green = {g}, blue = {b}, white = {w} }}\n"
            ),
            Path::new("d"),
        );
        let Ok(made) = made else { continue };
        count += 1;
        let values = Aces2::of(&made[0]).values::<f32>();
        for _ in 0..200 {
            let light = [0, 1, 2].map(|_| 2f64.powf(random(-12.0, 8.0)) * random(-0.2, 1.0));
            let out = values.apply(light.map(|x| x as f32));
            assert!(
                out.iter().all(|x| x.is_finite() && (-0.01..1.01).contains(x)),
                "{:?} {light:?} {out:?}",
                made[0]
            );
        }
    }
    assert!(count > 60, "{count}");
}

/// The short form is what is written when nothing else is set.
#[test]
fn outputs_are_written_as_short_as_they_are() {
    let mut show = Show::new("snow");
    let outputs = |show: &Show| {
        let text = write(show).unwrap();
        text.split_once("[outputs]\n").unwrap().1.split_once("\n[chain]").unwrap().0.to_owned()
    };
    assert_eq!(outputs(&show), "desk = \"rec709\"\nclient = \"rec709\"\nfiles = \"rec709\"\n");
    let slot = show.resolve(&Address::parse("output/client/exposure").unwrap(), 0).unwrap();
    let inverse = show.apply(Change::SetParameter { slot, value: -0.5 }).unwrap();
    assert_eq!(
        outputs(&show),
        "desk = \"rec709\"\nfiles = \"rec709\"\n\n[outputs.client]\ndisplay = \"rec709\"\n\n[outputs.client.trim]\nexposure = -0.5\n"
    );
    assert_eq!(read(&write(&show).unwrap(), Path::new("s")).unwrap(), show);
    show.apply(inverse).unwrap();
    assert_eq!(outputs(&show), "desk = \"rec709\"\nclient = \"rec709\"\nfiles = \"rec709\"\n");
    // A table with nothing in it is the default.
    assert_eq!(show_of("[outputs.client]\n").outputs, Outputs::default());
}

#[test]
fn trims_have_addresses_and_ranges() {
    let mut show = full_show();
    for output in Output::ALL {
        for (parameter, field) in TRIM.iter().zip(TrimField::ALL) {
            let text = format!("output/{}/{}", output.key(), parameter.key);
            let address = Address::parse(&text).unwrap();
            assert_eq!(address.to_string(), text);
            // No shot has to be there.
            let slot = Show::new("empty").resolve(&address, 0).unwrap();
            assert_eq!((slot, show.address(slot)), (Slot::Output { output, field: *field }, address));
            for (value, held) in [(1e9, parameter.max), (-1e9, parameter.min), (f64::NAN, parameter.default)]
            {
                show.apply(Change::SetParameter { slot, value }).unwrap();
                assert_eq!(show.get(slot), Some(held));
                assert_eq!(show.outputs.get(output).trim.get(*field), held);
            }
        }
    }
    for (address, said) in [
        ("output/wall/exposure", "desk, client, files"),
        ("output/client/gamma", "output/client/exposure, output/client/saturation, output/client/roll-off"),
        ("output/client", "output/desk/exposure"),
    ] {
        let e = Address::parse(address).unwrap_err().to_string();
        assert!(e.contains(said), "{e}");
    }
    assert_eq!(display_address("output/client/display"), Some(Output::Client));
    assert_eq!(display_address("output/wall/display"), None);
}

#[test]
fn a_display_that_the_show_does_not_have_is_refused() {
    let foreign = full_show().displays[0].clone();
    let mut show = Show::new("snow");
    let e = show.apply(Change::SetDisplay { output: Output::Desk, display: foreign.clone() }).unwrap_err();
    assert!(e.to_string().contains("grading-monitor") && e.to_string().contains("rec709-d60"), "{e}");
    // Nor one that only has the name of another.
    let mut impostor = display("srgb").unwrap().clone();
    impostor.peak = 200.0;
    assert!(show.apply(Change::SetDisplay { output: Output::Desk, display: Arc::new(impostor) }).is_err());
    assert_eq!(show, Show::new("snow"));
    let shipped = known_display("p3-d65-d60").unwrap();
    show.apply(Change::SetDisplay { output: Output::Desk, display: shipped }).unwrap();
    assert_eq!(read(&write(&show).unwrap(), Path::new("s")).unwrap(), show);
}

#[test]
fn the_hand_steps_through_displays() {
    let mut show = full_show();
    let ids: Vec<_> = show.all_displays().map(|d| d.id.to_string()).collect();
    assert_eq!(ids.len(), 14 + shipped_displays().len() + 2);
    let mut seen = vec![show.outputs.desk.display.id.to_string()];
    for _ in 1..ids.len() {
        show.outputs.desk.display = show.display_beside(Output::Desk, 1);
        seen.push(show.outputs.desk.display.id.to_string());
    }
    assert_eq!(seen, ids);
    assert_eq!(show.display_beside(Output::Desk, 1).id, ids[ids.len() - 1]);
    assert_eq!(show.display_beside(Output::Desk, -1000).id, "rec709");
    // With a table that gives 1000 cd/m², displays that end below it are passed over.
    let bright = OutputSettings::new(display("rec2100-pq-1000").unwrap());
    show.outputs = Outputs { desk: bright.clone(), client: bright.clone(), files: bright };
    show.apply(Change::SetShowLut(show_lut("logc4", "rec2100-pq-1000"))).unwrap();
    assert_eq!(show.display_beside(Output::Desk, -1000).id, "rec2100-pq-1000");
}

/// `FILE` by its whole path, as `cube` has it.
fn lut_text(more: &str) -> String {
    text(more).replace("\"aces2\"", &format!("\"lut:{}\"", cube().file.display()))
}

#[test]
fn a_shows_own_table_says_what_it_reads_and_gives() {
    let both = "lut-expects = \"logc4\"\nlut-gives = \"rec709\"\n";
    let show = read(&lut_text(both), Path::new("s")).unwrap();
    assert_eq!(show.transform, OutputTransform::Lut);
    assert_eq!(show.show_lut, Some(show_lut("logc4", "rec709")));
    assert_eq!(read(&write(&show).unwrap(), Path::new("s")).unwrap(), show);
    for (more, line, said) in [
        (
            "lut-gives = \"rec709\"\n",
            5,
            "lut-expects is not there; a .cube file does not say what it is made for",
        ),
        ("lut-expects = \"logc4\"\n", 5, "lut-gives is not there; a .cube file does not say"),
        ("lut-expects = \"logc9\"\nlut-gives = \"rec709\"\n", 6, "logc4"),
        ("lut-expects = \"logc4\"\nlut-gives = \"lamp\"\n", 7, "rec709"),
    ] {
        let (at, message) = refusal(&lut_text(more));
        assert!(at == line && message.contains(said), "{message}");
    }
    let (at, message) = refusal(&text("lut-gives = \"rec709\"\n"));
    assert!(at == 6 && message.contains("lut:FILE.cube"), "{message}");
    let (at, message) = refusal(&text(both).replace("aces2", "lut:gone.cube"));
    assert!(at == 5 && message.contains("gone.cube could not be read"), "{message}");
    let (at, message) = refusal(&text(both).replace("aces2", "lut:print.clf"));
    assert!(at == 5 && message.contains("is no .cube file"), "{message}");
    let (_, message) = refusal(&text("").replace("aces2", "aces9"));
    assert!(message.contains("aces2, plain, none, lut:FILE.cube"), "{message}");
    // 1000 cd/m² on a display of 100: refused, in the file and as a change, whichever comes first.
    let bright = "lut-expects = \"logc4\"\nlut-gives = \"rec2100-pq-1000\"\n";
    let (_, message) = refusal(&lut_text(bright));
    assert!(message.contains("1000 cd/m²") && message.contains("rec709 ends at 100"), "{message}");
    let mut show = show.clone();
    let before = show.clone();
    assert!(show.apply(Change::SetShowLut(show_lut("logc4", "rec2100-pq-1000"))).is_err());
    assert_eq!(show, before);
    for output in Output::ALL {
        let display = known_display("rec2100-pq-1000").unwrap();
        show.apply(Change::SetDisplay { output, display }).unwrap();
    }
    show.apply(Change::SetShowLut(show_lut("logc4", "rec2100-pq-1000"))).unwrap();
    let rec709 = known_display("rec709").unwrap();
    let e = show.apply(Change::SetDisplay { output: Output::Desk, display: rec709 }).unwrap_err();
    assert!(e.to_string().contains("accepted: a display of 1000 cd/m² or more"), "{e}");
}

#[test]
fn a_table_goes_with_its_transform_and_comes_back_with_undo() {
    let mut show = full_show();
    let before = show.clone();
    assert!(show.apply(Change::SetTransform(OutputTransform::Lut)).is_err());
    let mut history = History::default();
    let now = Instant::now();
    let mut change = |show: &mut Show, change: Change, control| {
        let inverse = show.apply(change.clone()).unwrap();
        history.record(change, inverse, control, now);
    };
    change(&mut show, Change::SetShowLut(show_lut("logc4", "rec709")), 1);
    change(&mut show, Change::SetShowLut(show_lut("v-log", "srgb")), 2);
    change(&mut show, Change::SetTransform(OutputTransform::Plain), 3);
    assert_eq!((show.transform, &show.show_lut), (OutputTransform::Plain, &None));
    show.apply(history.undo().unwrap()).unwrap();
    assert_eq!(show.show_lut, Some(show_lut("v-log", "srgb")));
    show.apply(history.undo().unwrap()).unwrap();
    assert_eq!(show.show_lut, Some(show_lut("logc4", "rec709")));
    show.apply(history.undo().unwrap()).unwrap();
    assert_eq!(show, before);
}

#[test]
fn files_of_displays_that_ship_can_be_read() {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/configs/displays"));
    let mut there: Vec<_> =
        std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    let mut listed: Vec<_> = DISPLAY_FILES.iter().map(|(file, _)| (*file).to_owned()).collect();
    (there.sort(), listed.sort());
    assert_eq!(there, listed);
    assert_eq!(shipped_displays().len(), DISPLAY_FILES.len());
    for d in shipped_displays() {
        assert_eq!((known_display(&d.id).as_ref(), d.white), (Some(d), White::D60));
    }
    // The same file as a show's own would hide it.
    assert!(read_displays(DISPLAY_FILES[0].1, Path::new("d.toml")).is_err());
}
