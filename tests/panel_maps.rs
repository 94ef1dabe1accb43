//! The panel maps that come along, drawn: what configs/panels/README.md shows of them, and the drawings beside it, are what the maps say.
//!
//! `UPDATE=1 cargo test --release --features jack --test panel_maps` writes them anew.

use std::fmt::Write;
use std::path::Path;

use greyhold::engine::{known_action, known_target};
use greyhold::panel::osc::{LAYOUTS, Layout};
use greyhold::panel::{Map, SHIPPED, layout_svg, layout_table, svg, table};
use greyhold::show::check_address;

/// What follows this line of the page is written by the test.
const MARK: &str = "<!-- tests/panel_maps.rs writes what follows";

fn maps() -> impl Iterator<Item = (&'static str, Map)> {
    let parse = |text: &str, file: &str| Map::parse(text, file, &known_target, &known_action).unwrap();
    SHIPPED.iter().map(move |(file, text)| (file.strip_suffix(".toml").unwrap(), parse(text, file)))
}

fn layouts() -> impl Iterator<Item = (&'static str, Layout)> {
    let parse = |text: &str, file: &str| Layout::parse(text, file, &check_address, &known_action).unwrap();
    LAYOUTS.iter().map(move |(file, text)| (file.strip_suffix(".toml").unwrap(), parse(text, file)))
}

#[test]
fn the_page_and_the_drawings_are_what_the_maps_say() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs/panels");
    let before = std::fs::read_to_string(folder.join("README.md")).unwrap();
    let mark = before.find(MARK).expect("the mark after which drawings follow");
    let line = before[mark..].find('\n').map_or(before.len(), |end| mark + end + 1);
    let mut page = before[..line].to_owned();
    let mut files = Vec::new();
    for (name, map) in maps() {
        write!(page, "\n## {}\n\n`{name}`\n\n![{}]({name}.svg)\n\n{}", map.name, map.name, table(&map))
            .unwrap();
        files.push((format!("{name}.svg"), svg(&map)));
    }
    for (name, layout) in layouts() {
        let (title, table) = (&layout.name, layout_table(&layout));
        write!(page, "\n## {title}\n\n`{name}`\n\n![{title}]({name}.svg)\n\n{table}").unwrap();
        files.push((format!("{name}.svg"), layout_svg(&layout)));
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
            control.cc().into_iter().for_each(|cc| has(&format!("CC {cc}")));
            control.targets.iter().filter(|t| t.by.abs() > 0.001).for_each(|t| has(&t.address));
        }
        for button in &map.buttons {
            has(&button.label);
            has(&button.action);
        }
    }
    for (name, layout) in layouts() {
        let texts = texts(&layout_svg(&layout));
        let has =
            |wanted: &str| assert!(texts.iter().any(|t| t.contains(wanted)), "{name}: {wanted} in {texts:?}");
        for fader in &layout.faders {
            [&fader.label, &fader.osc, &fader.target].into_iter().for_each(|t| has(t));
        }
        for push in &layout.pushes {
            [&push.label, &push.osc, &push.action].into_iter().for_each(|t| has(t));
        }
    }
    // A person's own text is no markup.
    let text = "name = \"<a> & \\\"b\\\"\"\n[[control]]\nlabel = \"</text>\"\ncc = 1\ncoding = \"absolute\"\ntarget = \"look/strength\"\n";
    let map = Map::parse(text, "x", &known_target, &known_action).unwrap();
    let all = texts(&svg(&map)).concat();
    assert!(all.contains("<a> & \"b\"") && all.contains("</text>"), "{all}");
}
