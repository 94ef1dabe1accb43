//! The rooms' arrows only point down.

use std::path::{Path, PathBuf};

/// Lowest first, as in src/lib.rs.
const ROOMS: &[&str] = &[
    "colour",
    "interchange",
    "look",
    "picture",
    "scope",
    "check",
    "show",
    "media",
    "gpu",
    "panel",
    "engine",
    "serve",
    "demo",
    "desk",
    "cli",
];

fn sources(dir: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

/// Rooms named after `crate::` in a text, in `use` lines and in paths alike.
fn rooms_used(text: &str) -> Vec<String> {
    let code: String =
        text.lines().map(|l| l.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n");
    code.split("crate::").skip(1).flat_map(|part| firsts(part.trim_start())).collect()
}

/// The first names of the paths that a text begins with: of one path its first, of a group in braces that of
/// each member, whatever groups those hold in turn.
fn firsts(text: &str) -> Vec<String> {
    let name = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    let Some(group) = text.strip_prefix('{') else { return vec![name(text)] };
    let (mut depth, mut starts, mut out) = (0usize, true, Vec::new());
    for (at, c) in group.char_indices() {
        match c {
            '{' if depth == 0 && starts => {
                // A group as a member is the same as its members.
                out.extend(firsts(&group[at..]));
                (depth, starts) = (1, false);
            }
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => starts = true,
            c if depth == 0 && starts && !c.is_whitespace() => {
                out.push(name(&group[at..]));
                starts = false;
            }
            _ => {}
        }
    }
    out
}

fn arrows_up(room: &str, text: &str) -> Vec<String> {
    let place = ROOMS.iter().position(|r| *r == room).unwrap();
    rooms_used(text)
        .into_iter()
        .filter(|used| ROOMS.iter().position(|r| r == used).is_some_and(|p| p > place))
        .collect()
}

#[test]
fn arrows_only_point_down() {
    let mut files = Vec::new();
    sources(Path::new("src"), &mut files);
    let mut seen = 0;
    for file in files {
        let parts: Vec<_> = file.iter().map(|p| p.to_string_lossy().into_owned()).collect();
        let Some(room) = parts.get(1).filter(|p| ROOMS.contains(&p.as_str())) else { continue };
        let text = std::fs::read_to_string(&file).unwrap();
        let up = arrows_up(room, &text);
        assert!(up.is_empty(), "{} is in {room} and uses {up:?}, which lie above it", file.display());
        seen += 1;
    }
    assert!(seen > 20, "only {seen} files were read");
}

#[test]
fn an_arrow_up_is_found() {
    assert_eq!(arrows_up("colour", "use crate::gpu::Gpu;"), ["gpu"]);
    assert_eq!(arrows_up("look", "use crate::{colour::Real, engine};"), ["engine"]);
    assert!(arrows_up("gpu", "use crate::colour::Real; // crate::cli").is_empty());
    // Behind a group in a group, over several lines, renamed, more than one, and in a path.
    let nested = "use crate::{\n    colour::{Real, matrix::{self, Matrix}},\n    engine::{Handle, Live},\n    gpu as g,\n};";
    assert_eq!(arrows_up("look", nested), ["engine", "gpu"]);
    assert_eq!(arrows_up("media", nested), ["engine", "gpu"]);
    assert_eq!(arrows_up("panel", nested), ["engine"]);
    assert!(arrows_up("desk", nested).is_empty());
    assert_eq!(arrows_up("look", "use crate::{{colour::{Real}, desk}, cli};"), ["desk", "cli"]);
    assert_eq!(arrows_up("show", "fn f() { let _ = crate::engine::action(\"x\"); }"), ["engine"]);
    // What follows the group is none of its members, nor is what stands inside a member.
    assert!(
        arrows_up("look", "use crate::{colour::{engine, gpu}}; struct S { desk: u8, cli: u8 }").is_empty()
    );
}

#[test]
fn the_rooms_are_those_of_the_map() {
    let lib = std::fs::read_to_string("src/lib.rs").unwrap();
    let declared: Vec<_> =
        lib.lines().filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    assert_eq!(declared, ROOMS);
}

#[test]
fn the_rooms_of_pure_arithmetic_do_no_io() {
    let mut files = Vec::new();
    for room in ["colour", "interchange", "look", "picture", "check"] {
        sources(&Path::new("src").join(room), &mut files);
    }
    assert!(files.len() > 10);
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        for word in ["std::fs", "std::io", "std::net", "std::time", "wgpu"] {
            assert!(!text.contains(word), "{} uses {word}", file.display());
        }
    }
}
