//! The panel maps that come along, drawn: configs/panels/README.md and the drawings beside it are what the maps say.
//!
//! `UPDATE=1 cargo test --release --features jack --test panel_maps` writes them anew.

use std::fmt::Write;
use std::path::Path;

use greyhold::engine::known_action;
use greyhold::panel::{Map, SHIPPED, svg, table};
use greyhold::show::check_address;

const HEAD: &str = "# The panel maps that come along

A map says which control moves what. Copy one, change it, and name the file: `greyhold open winter --panel my-panel.toml`; several
panels have several maps, `--panel encoders.toml --panel faders.toml`, each with its part of the ports' names. A show may name its own:
`panel = [\"encoders.toml\", \"faders.toml\"]` under `[show]`.

- `greyhold panel ports` lists the ports, `greyhold panel watch --map my-panel.toml` shows messages and what they become.
- `greyhold panel learn my-panel.toml --target balance/exposure` asks for the control to be moved, says what it is, lets you try it and
  adds it to the file, under a comment; what you wrote there stays as it is. `--list` lists every address and action.
- `greyhold panel draw my-panel.toml my-panel.svg` makes a drawing as below.

The keys of a map are explained in `eight-encoders.toml` and `three-balls.toml`, but for those of what a panel is **told back**:

| key | of | meaning |
|---|---|---|
| `output` | the map | part of the name of the port that answers go to; without it the port beside the one that messages come from is found by its name |
| `feedback` | control, button | `\"never\"`; `\"released\"`: when its value changes, but not under a hand, and once when it is let go, because some motor faders fall back without that; `\"always\"`: under a hand too. Without it, knobs and faders have `\"released\"`, rings of encoders follow at once |
| `ring` | control | how its value is told: `{ cc = 48 }`, `{ note = 9 }`, `{ cc = 3, bits = 14 }` or `{ bend = true }`, with `channel`, and `from` and `to` for what says the lower and the upper end of the range (0 and 127). Without it knobs and faders are told by the message that they send; encoders are told nothing |
| `light` | button | `{ note = 36, channel = 1, on = 127, off = 0 }`: how its light is told. What is left out is as the button itself sends it |
| `text` | control | a display: `{ sysex = \"F0 7D {at} {label} {value} F7\", at = 14, chars = 7 }`. `{label}` is the control's name and `{value}` the parameter's value, each of `chars` characters of ASCII; `{at}` is the byte of `at` |

A control counts as let go 0.3 s after its last message. A panel is sent at most 2,000 bytes a second, which is two thirds of what a
MIDI 1.0 cable carries, and each control no more than 66 messages; the last value always comes. What a panel sends because it was told
something (echoes, motors on their way) moves nothing. A panel that was pulled out shows as absent, and is told everything when it is back.

`tests/panel_maps.rs` writes this page and the drawings, and fails when a map says something else.
";

fn maps() -> impl Iterator<Item = (&'static str, Map)> {
    let parse = |text: &str, file: &str| Map::parse(text, file, &check_address, &known_action).unwrap();
    SHIPPED.iter().map(move |(file, text)| (file.strip_suffix(".toml").unwrap(), parse(text, file)))
}

#[test]
fn the_page_and_the_drawings_are_what_the_maps_say() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs/panels");
    let mut page = HEAD.to_owned();
    let mut files = Vec::new();
    for (name, map) in maps() {
        write!(page, "\n## {}\n\n`{name}`\n\n![{}]({name}.svg)\n\n{}", map.name, map.name, table(&map))
            .unwrap();
        files.push((format!("{name}.svg"), svg(&map)));
    }
    files.push(("README.md".to_owned(), page));
    for (file, text) in files {
        let path = folder.join(&file);
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&path, &text).unwrap();
        }
        let there = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(
            there == text,
            "{file} says something else: run this test with UPDATE=1 and look at the difference"
        );
    }
}

/// The texts of an SVG, and that it is well-formed.
fn texts(svg: &str) -> Vec<String> {
    let mut reader = quick_xml::Reader::from_str(svg);
    let (mut depth, mut all) = (0, Vec::new());
    loop {
        match reader.read_event().unwrap_or_else(|e| panic!("{e}\n{svg}")) {
            quick_xml::events::Event::Start(_) => depth += 1,
            quick_xml::events::Event::End(_) => depth -= 1,
            quick_xml::events::Event::Text(text) => all.push(text.into_inner().into_owned()),
            quick_xml::events::Event::GeneralRef(name) => {
                let name = name.to_string();
                let c = match name.as_str() {
                    "amp" => '&',
                    "lt" => '<',
                    "gt" => '>',
                    "quot" => '"',
                    other => panic!("&{other};"),
                };
                all.push(c.to_string());
            }
            quick_xml::events::Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    all
}

#[test]
fn a_drawing_has_every_control_with_its_message_and_what_it_does() {
    for (name, map) in maps() {
        let texts = texts(&svg(&map));
        let has =
            |wanted: &str| assert!(texts.iter().any(|t| t.contains(wanted)), "{name}: {wanted} in {texts:?}");
        for control in &map.controls {
            has(&control.label);
            has(&format!("CC {}", control.cc));
            control.targets.iter().for_each(|t| has(&t.address));
        }
        for button in &map.buttons {
            has(&button.label);
            has(&button.action);
        }
    }
    // A person's own text is no markup.
    let text = "name = \"<a> & \\\"b\\\"\"\n[[control]]\nlabel = \"</text>\"\ncc = 1\ncoding = \"absolute\"\ntarget = \"look/strength\"\n";
    let map = Map::parse(text, "x", &check_address, &known_action).unwrap();
    let all = texts(&svg(&map)).concat();
    assert!(all.contains("<a> & \"b\"") && all.contains("</text>"), "{all}");
}
