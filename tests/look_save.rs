//! `greyhold look save`: the look alone, readable again in any show, never over another file unasked.

mod support;

use std::path::Path;

use greyhold::colour::encoding;
use greyhold::look::{Stage, stage};
use greyhold::show::{Shot, Show, load_look, load_lut, save};
use support::greyhold;

fn saved(dir: &Path, more: &[&str]) -> (Option<i32>, String) {
    let out = greyhold().args(["look", "save", dir.to_str().unwrap()]).args(more).output().unwrap();
    let text = [out.stdout, out.stderr].concat();
    (out.status.code(), String::from_utf8_lossy(&text).into_owned())
}

#[test]
fn a_look_is_saved_and_never_over_another_unasked() {
    let dir = tempfile::tempdir().unwrap();
    let mut show = Show::new("a");
    show.shots.push(Shot::new("s", "a.mov", 0..8, encoding("logc4").unwrap()));
    show.chain.finish.push(Stage::new(stage("saturation").unwrap()));
    save(&show, dir.path()).unwrap();
    let (status, said) = saved(dir.path(), &["Dry frost"]);
    assert!(status == Some(2) && said.contains("has no stage"), "{said}");

    // A table named relative to the show, which a look elsewhere has to find again.
    std::fs::write(dir.path().join("t.cube"), "LUT_1D_SIZE 2\n0 0 0\n1 1 0.5\n").unwrap();
    let mut table = Stage::new(stage("lut").unwrap());
    table.lut = Some(load_lut(dir.path(), Path::new("t.cube")).unwrap());
    let mut contrast = Stage::new(stage("contrast").unwrap());
    contrast.strength = 0.75;
    show.chain.look = vec![contrast, table];
    save(&show, dir.path()).unwrap();
    let (status, said) = saved(dir.path(), &["Dry frost", "--note", "Cold."]);
    assert_eq!(status, Some(0), "{said}");
    let file = dir.path().join("looks/dry-frost.toml");
    let look = load_look(&file).unwrap();
    assert_eq!((look.name.as_str(), look.note.as_str(), look.stages.len()), ("Dry frost", "Cold.", 2));
    assert_eq!(look.stages[0], show.chain.look[0]);
    assert_eq!(look.stages[1].lut.as_ref().unwrap().lut.apply([1.0; 3]), [1.0, 1.0, 0.5]);

    let before = std::fs::read(&file).unwrap();
    let (status, said) = saved(dir.path(), &["dry FROST", "--note", "Other."]);
    assert!(status == Some(2) && said.contains("--replace"), "{said}");
    assert_eq!(std::fs::read(&file).unwrap(), before);
    let (status, said) = saved(dir.path(), &["Dry frost", "--note", "Other.", "--replace"]);
    assert_eq!(status, Some(0), "{said}");
    assert_eq!(load_look(&file).unwrap().note, "Other.");
    for (more, part) in [(&["../.."][..], "a letter or a digit"), (&["a", "--to", "a.cube"], ".toml")] {
        let (status, said) = saved(dir.path(), more);
        assert!(status == Some(2) && said.contains(part), "{said}");
    }
}
