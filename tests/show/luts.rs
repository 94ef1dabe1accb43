//! Tables from files, in a show and in a look.

use std::path::Path;

use greyhold::look::{List, Stage, stage};
use greyhold::show::{Change, Look, Show, ShowError, load, load_look, load_lut, save, save_look};

const CUBE: &str = "LUT_3D_SIZE 2\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";

fn with_lut(folder: &Path, file: &str) -> Stage {
    std::fs::create_dir_all(folder.join("luts")).unwrap();
    std::fs::write(folder.join(file), CUBE).unwrap();
    let lut = load_lut(folder, Path::new(file)).unwrap();
    Stage { lut: Some(lut), ..Stage::new(stage("lut").unwrap()) }
}

fn add(stage: &Stage) -> Change {
    Change::AddStage { list: List::Look, at: 0, stage: stage.clone() }
}

#[test]
fn a_lut_is_kept_by_the_name_of_its_file() {
    let folder = tempfile::tempdir().unwrap();
    let mut show = Show::new("snow");
    show.apply(add(&with_lut(folder.path(), "luts/print.cube"))).unwrap();
    save(&show, folder.path()).unwrap();
    let text = std::fs::read_to_string(folder.path().join("show.toml")).unwrap();
    assert!(text.contains("file = \"luts/print.cube\""), "{text}");
    assert_eq!(load(folder.path()).unwrap(), show);
}

/// The table is at hand: a show whose LUT's file went missing is still saved.
#[test]
fn a_missing_file_stops_no_save_and_is_named_when_opening() {
    let folder = tempfile::tempdir().unwrap();
    let mut show = Show::new("snow");
    show.apply(add(&with_lut(folder.path(), "luts/print.cube"))).unwrap();
    std::fs::remove_file(folder.path().join("luts/print.cube")).unwrap();
    save(&show, folder.path()).unwrap();
    let e = load(folder.path()).unwrap_err().to_string();
    assert!(e.contains("show.toml") && e.contains("print.cube could not be read"), "{e}");
}

#[test]
fn a_cube_with_a_missing_row_is_named_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let mut show = Show::new("snow");
    show.apply(add(&with_lut(folder.path(), "print.cube"))).unwrap();
    save(&show, folder.path()).unwrap();
    let cut = CUBE.trim_end().rsplit_once('\n').unwrap().0;
    std::fs::write(folder.path().join("print.cube"), cut).unwrap();
    match load(folder.path()).unwrap_err() {
        ShowError::Lut { file, error } => {
            assert_eq!((file, error.line()), (folder.path().join("print.cube"), Some(8)));
            assert!(error.to_string().contains("7 of 8"), "{error}");
        }
        e => panic!("{e}"),
    }
}

#[test]
fn a_look_carries_its_lut_into_any_show() {
    let folder = tempfile::tempdir().unwrap();
    let stage = with_lut(folder.path(), "print.cube");
    let path = folder.path().join("print.toml");
    let look = Look { name: "print".into(), note: String::new(), intent: None, stages: vec![stage] };
    save_look(&look, &path).unwrap();
    let read = load_look(&path).unwrap();
    let lut = read.stages[0].lut.as_ref().unwrap();
    assert_eq!(lut.file, folder.path().join("print.cube"));
    assert_eq!(lut.lut, look.stages[0].lut.as_ref().unwrap().lut);
    let elsewhere = tempfile::tempdir().unwrap();
    let mut show = Show::new("elsewhere");
    show.apply(Change::ReplaceLook { stages: read.stages, strength: 1.0 }).unwrap();
    save(&show, elsewhere.path()).unwrap();
    assert_eq!(load(elsewhere.path()).unwrap(), show);
}

#[test]
fn a_fifth_lut_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let stage = with_lut(folder.path(), "print.cube");
    let mut show = Show::new("snow");
    for _ in 0..4 {
        show.apply(add(&stage)).unwrap();
    }
    let before = show.clone();
    let e = show.apply(add(&stage)).unwrap_err().to_string();
    assert_eq!(e, "a chain of 5 LUTs; accepted: at most 4 stages lut in a chain");
    let five = Change::ReplaceLook { stages: vec![stage; 5], strength: 1.0 };
    assert!(show.apply(five).is_err());
    assert_eq!(show, before);
}

#[test]
fn a_stage_without_its_table_does_nothing() {
    let stage = Stage::new(stage("lut").unwrap());
    assert_eq!(greyhold::look::effective_strength(&stage, 1.0), 0.0);
}
