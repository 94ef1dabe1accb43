//! Look files, ours and others.

use super::*;

#[test]
fn the_looks_that_come_along_parse_and_round_trip() {
    let looks = list_looks(Path::new("configs/looks")).unwrap();
    assert!(looks.len() >= 2);
    let mut titles = BTreeSet::new();
    for (path, look) in looks {
        let look = look.unwrap();
        assert!(!look.stages.is_empty() && !look.note.is_empty(), "{}", path.display());
        assert!(titles.insert(look.name.clone()), "{} is taken", look.name);
        let text = std::fs::read_to_string(&path).unwrap();
        // The check in its comments is tests/looks.rs's business.
        let check = text.find("#\n# Check\n").unwrap()..text.find("version").unwrap();
        assert!(text[check.clone()].lines().all(|l| l.is_empty() || l.starts_with('#')));
        let text = format!("{}{}", &text[..check.start], &text[check.end..]);
        assert_eq!(write_look(&look), text, "{}", path.display());
        // It fits a show as it is: nothing had to be held.
        let mut show = full_show();
        show.apply(Change::ReplaceLook { stages: look.stages.clone(), strength: 1.0 }).unwrap();
        assert_eq!(show.chain.look, look.stages);
    }
}

/// What is built in is what stands in the folder, all of it.
#[test]
fn the_looks_built_in_are_those_of_the_folder() {
    let mut files: Vec<String> = std::fs::read_dir("configs/looks")
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".toml"))
        .collect();
    files.sort();
    let built_in: Vec<&str> = LOOK_FILES.iter().map(|(file, _)| *file).collect();
    assert_eq!(built_in, files);
    for (file, text) in LOOK_FILES {
        assert_eq!(std::fs::read_to_string(format!("configs/looks/{file}")).unwrap(), *text);
    }
    assert_eq!(shipped_looks().len(), files.len(), "all of them can be read");
}

#[test]
fn looks_survive_their_file() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("odd ☂.toml");
    let full = full_show();
    for look in [
        Look {
            name: "“odd”\n#=".to_owned(),
            note: "\\ \" \t ☂".to_owned(),
            intent: Some(Intent::TwoColour),
            stages: full.chain.look,
        },
        Look { name: String::new(), note: String::new(), intent: None, stages: Vec::new() },
    ] {
        save_look(&look, &path).unwrap();
        assert_eq!(load_look(&path).unwrap(), look);
    }
    std::fs::write(dir.path().join("bad.toml"), "version = 1\n").unwrap();
    std::fs::write(dir.path().join("notes.txt"), "x").unwrap();
    let listed = list_looks(dir.path()).unwrap();
    assert_eq!(listed.len(), 2);
    assert!(listed[0].0.ends_with("bad.toml") && listed[0].1.is_err());
    assert!(listed[1].1.is_ok(), "a bad file hides no other");
}

#[test]
fn complaints_about_look_files_have_their_line_too() {
    let good =
        "version = 1\n[look]\nname = \"x\"\nnote = \"y\"\n[[stage]]\nstage = \"contrast\"\ntoe = 0.5\n";
    assert!(read_look(good, Path::new("l.toml")).is_ok());
    let keys: Vec<&str> = STAGES.iter().map(|d| d.key).collect();
    let no_stage = format!("l.toml:6: stage is \"contast\"; accepted: {}", keys.join(", "));
    let cases = [
        (
            "name = \"x\"",
            "title = \"x\"",
            "l.toml:3: [look] has no key \"title\"; accepted: name, note, intent",
        ),
        ("name = \"x\"\n", "", "l.toml:2: [look] lacks name; accepted: name = a text"),
        (
            "[[stage]]",
            "[[stages]]",
            "l.toml:5: the file has no key \"stages\"; accepted: version, look, stage",
        ),
        ("\"contrast\"", "\"contast\"", &no_stage),
        ("toe = 0.5", "toe = 1.5", "l.toml:7: toe is 1.5; accepted: a number from 0 to 1"),
        (
            "toe = 0.5",
            "to = 0.5",
            "l.toml:7: [[stage]] has no key \"to\"; accepted: stage, on, strength, slope, toe, shoulder",
        ),
        ("version = 1\n", "", "l.toml:1: the file lacks version; accepted: version = a whole number from 0"),
    ];
    for (line, instead, expected) in cases {
        assert!(good.contains(line));
        let text = good.replace(line, instead);
        assert_eq!(read_look(&text, Path::new("l.toml")).unwrap_err().to_string(), expected);
    }
}
