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
            "l.toml:3: [look] has no key \"title\"; accepted: name, note, intent, based-on",
        ),
        ("name = \"x\"\n", "", "l.toml:2: [look] lacks name; accepted: name = a text"),
        (
            "[[stage]]",
            "[[stages]]",
            "l.toml:5: the file has no key \"stages\"; accepted: version, look, strengths, stage",
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

const BASED: &str = "version = 1\n[look]\nname = \"Softly pushed\"\nbased-on = \"Pushed\"\n[strengths]\ngrain = 0.5\ncurves = 0\n\
                     [[stage]]\nstage = \"contrast\"\nslope = 0.9\n";

/// A look's stages with strengths in place of its own and stages behind them: by hand.
#[test]
fn a_look_cites_another_and_changes_strengths() {
    let pushed = shipped_looks().iter().find(|l| l.name == "Pushed").unwrap();
    let mut expected = pushed.stages.clone();
    for (key, strength) in [("grain", 0.5), ("curves", 0.0)] {
        expected.iter_mut().find(|s| s.kind == kind(key)).unwrap().strength = strength;
    }
    let mut soft = Stage::new(kind("contrast"));
    soft.values[0] = 0.9;
    expected.push(soft);
    let look = read_look(BASED, Path::new("l.toml")).unwrap();
    assert_eq!((look.name.as_str(), look.note.as_str(), look.intent), ("Softly pushed", "", None));
    assert_eq!(look.stages, expected);

    // By a path, from one file to the next, with a LUT that is named relative to the file that names it. The second of a
    // kind is that of the look cited, with what that cites.
    let dir = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| {
        let path = dir.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, text).unwrap();
        path
    };
    file("deep/t.cube", "LUT_1D_SIZE 2\n0 0 0\n1 1 0.5\n");
    file("deep/base.toml", &format!("{BASED}[[stage]]\nstage = \"lut\"\nfile = \"t.cube\"\n"));
    let top = file(
        "top.toml",
        "version = 1\n[look]\nname = \"Top\"\nbased-on = \"deep/base.toml\"\n[strengths]\n\"contrast 2\" = 1.25\nlut = 0.5\n",
    );
    let look = load_look(&top).unwrap();
    expected[4].strength = 1.25;
    assert_eq!(look.stages[..5], expected);
    let lut = look.stages[5].lut.as_ref().unwrap();
    assert_eq!((look.stages[5].strength, lut.lut.apply([1.0; 3])), (0.5, [1.0, 1.0, 0.5]));
    // An intent holds until a look says another.
    let two = "version = 1\n[look]\nname = \"a\"\nbased-on = \"two-colour\"\n";
    assert_eq!(read_look(two, Path::new("l.toml")).unwrap().intent, Some(Intent::TwoColour));
    let toned = format!("{two}intent = \"toned\"\n");
    assert_eq!(read_look(&toned, Path::new("l.toml")).unwrap().intent, Some(Intent::Toned));
}

#[test]
fn what_a_look_cannot_cite_is_refused_with_its_line() {
    let dir = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| std::fs::write(dir.path().join(name), text).unwrap();
    let based = |on: &str| format!("version = 1\n[look]\nname = \"x\"\nbased-on = \"{on}\"\n");
    file("a.toml", &based("b.toml"));
    file("b.toml", &based("c.toml"));
    file("c.toml", &based("b.toml"));
    file("self.toml", &based("./self.toml"));
    file("broken.toml", "version = 1\n[look]\n");
    file("on-broken.toml", &based("broken.toml"));
    let keys = "accepted: contrast, crosstalk, curves, grain";
    let names = "accepted: cross-processed, day-for-night";
    let cases: Vec<(&str, String, usize, Vec<&str>)> = vec![
        (
            "l.toml",
            BASED.replace("Pushed", "Pulled"),
            4,
            vec!["called \"Pulled\"", names, "two-colour, or a .toml"],
        ),
        ("l.toml", BASED.replace("Pushed", "gone.toml"), 4, vec!["gone.toml could not be read", names]),
        ("l.toml", BASED.replace("grain =", "halation ="), 6, vec!["Pushed has no stage \"halation\"", keys]),
        (
            "l.toml",
            BASED.replace("grain =", "\"grain 2\" ="),
            6,
            vec!["Pushed has no stage \"grain 2\"", keys],
        ),
        // Its own stage is no stage of its base.
        ("l.toml", BASED.replace("grain =", "\"contrast 2\" ="), 6, vec!["no stage \"contrast 2\"", keys]),
        ("l.toml", BASED.replace("grain =", "look ="), 6, vec!["Pushed has no stage \"look\"", keys]),
        ("l.toml", BASED.replace("0.5", "1.75"), 6, vec!["grain is 1.75", "a number from 0 to 1.5"]),
        ("l.toml", BASED.replace("0.5", "\"half\""), 6, vec!["grain is \"half\"", "a number from 0 to 1.5"]),
        (
            "l.toml",
            BASED.replace("based-on = \"Pushed\"\n", ""),
            4,
            vec!["no look that they are for", "based-on"],
        ),
        (
            "a.toml",
            String::new(),
            4,
            vec!["c.toml:4", "b.toml is based on", "c.toml is based on", "lead back"],
        ),
        ("self.toml", String::new(), 4, vec!["self.toml:4", "based on itself"]),
        ("on-broken.toml", String::new(), 2, vec!["broken.toml:2", "lacks name"]),
    ];
    for (name, text, line, said) in cases {
        let path = dir.path().join(name);
        let error = if text.is_empty() { load_look(&path) } else { read_look(&text, &path) }.unwrap_err();
        let all = error.to_string();
        assert!(matches!(error, ShowError::Text { line: at, .. } if at == line), "{all}");
        assert!(said.iter().all(|s| all.contains(s)), "{said:?} in {all}");
    }
}

/// Saved, a look has all its stages; asked to, it says only what it changes, or why it cannot.
#[test]
fn a_look_is_saved_as_what_it_changes() {
    let dir = tempfile::tempdir().unwrap();
    let look = read_look(BASED, Path::new("l.toml")).unwrap();
    let pushed = shipped_looks().iter().find(|l| l.name == "Pushed").unwrap();
    let plain = dir.path().join("plain.toml");
    save_look(&look, &plain).unwrap();
    assert!(!std::fs::read_to_string(&plain).unwrap().contains("based-on"));
    assert_eq!(load_look(&plain).unwrap(), look);

    let based = LookFile::based(&look, "Pushed", pushed).unwrap();
    let base = based.base.as_ref().unwrap();
    let named: Vec<_> = base.strengths.iter().map(|(k, v)| (k.to_string(), *v)).collect();
    assert_eq!(named, [("curves".to_owned(), 0.0), ("grain".to_owned(), 0.5)]);
    assert_eq!(based.stages.len(), 1);
    let path = dir.path().join("based.toml");
    save_look_file(&based, &path).unwrap();
    assert_eq!(load_look_file(&path).unwrap(), (based.clone(), look.clone()));
    assert!(std::fs::read_to_string(&path).unwrap().lines().count() < 25);

    let with = |change: &dyn Fn(&mut Look)| {
        let mut other = look.clone();
        change(&mut other);
        LookFile::based(&other, "Pushed", pushed).unwrap_err().to_string()
    };
    let said = with(&|l| l.stages[0].values[0] = 1.5);
    assert!(
        said.contains("differs from Pushed") && said.contains("contrast: slope is 1.5, not 1.32"),
        "{said}"
    );
    assert!(with(&|l| l.stages[3].on = false).contains("grain is switched off"));
    assert!(with(&|l| l.stages.swap(0, 1)).contains("crosstalk stands where contrast is; contrast stands"));
    assert!(with(&|l| l.stages.truncate(2)).contains("curves is missing; grain is missing"));
    // What could not be read back is not saved.
    let mut lost = based;
    lost.base.as_mut().unwrap().name = "gone.toml".into();
    let error = save_look_file(&lost, &path).unwrap_err().to_string();
    assert!(error.contains("gone.toml could not be read"), "{error}");
    assert_eq!(load_look(&path).unwrap(), look);
}

/// Names and files are the same for all that ship, which based-on and commands rely on.
#[test]
fn looks_that_ship_are_called_as_their_files() {
    for ((file, _), look) in LOOK_FILES.iter().zip(shipped_looks()) {
        assert_eq!(format!("{}.toml", look.name.to_lowercase().replace(' ', "-")), *file);
    }
}

/// A chain knows which look it is, and whether it still is: through changes, undo and the file.
#[test]
fn a_chain_remembers_its_look() {
    let mut show = full_show();
    let was = show.clone();
    let look = shipped_looks().iter().find(|l| l.intent == Some(Intent::TwoColour)).unwrap();
    let back = show.apply(look.change(0.5)).unwrap();
    let origin = show.chain.origin.as_ref().unwrap();
    assert_eq!((&origin.name, &origin.note, origin.intent), (&look.name, &look.note, look.intent));
    assert_eq!(
        (&show.chain.look, show.chain.look_strength, show.chain.is_changed()),
        (&look.stages, 0.5, false)
    );
    assert_eq!(show.look(Path::new("")), *look);
    // The strength of the whole is the show's; a stage's is the look's.
    let set = |show: &mut Show, address: &str, value| {
        let slot = show.resolve(&Address::parse(address).unwrap(), 0).unwrap();
        show.apply(Change::SetParameter { slot, value }).unwrap()
    };
    set(&mut show, "look/strength", 1.25);
    assert!(!show.chain.is_changed());
    let turned = set(&mut show, "look/2/strength", 0.75);
    assert!(show.chain.is_changed());
    let read_back = read(&write(&show).unwrap(), Path::new("s")).unwrap();
    assert!(read_back == show && read_back.chain.is_changed());
    show.apply(turned).unwrap();
    assert!(!show.chain.is_changed());
    assert!(!read(&write(&show).unwrap(), Path::new("s")).unwrap().chain.is_changed());
    for look in shipped_looks() {
        let mut show = Show::new("a");
        show.apply(look.change(1.0)).unwrap();
        let show = read(&write(&show).unwrap(), Path::new("s")).unwrap();
        assert!(!show.chain.is_changed() && show.look(Path::new("")) == *look, "{}", look.name);
    }
    // Stages of no known look are none's, and undo brings the name back.
    let nameless = show.apply(Change::ReplaceLook { stages: Vec::new(), strength: 1.0 }).unwrap();
    assert_eq!(show.chain.origin, None);
    show.apply(nameless).unwrap();
    assert_eq!(show.chain.origin.as_ref().unwrap().name, look.name);
    show.apply(back).unwrap();
    assert_eq!(show, was);
}

#[test]
fn what_a_show_says_of_its_look_is_read_with_care() {
    let mut show = Show::new("a");
    show.apply(shipped_looks()[0].change(1.0)).unwrap();
    let text = write(&show).unwrap();
    let line = text.lines().find(|l| l.starts_with("stages = ")).unwrap();
    // Without the number the stages are taken as they are.
    assert_eq!(read(&text.replace(&format!("{line}\n"), ""), Path::new("s")).unwrap(), show);
    for (from, to, said) in [
        (line, "stages = \"12\"", "16 hexadecimal digits"),
        (line, "intent = \"blue\"", "accepted: neutral, monochrome, toned, two-colour"),
        (line, "strength = 1", "accepted: name, note, intent, stages"),
        ("[look]\nname", "[look]\nnote2", "accepted: name, note, intent, stages"),
    ] {
        let error = read(&text.replace(from, to), Path::new("s")).unwrap_err().to_string();
        assert!(error.contains(said), "{error}");
    }
}

/// A stage of one look into another's list, at its place there, with its table.
#[test]
fn a_stage_is_taken_from_a_look() {
    let named = |name: &str| shipped_looks().iter().find(|l| l.name == name).unwrap();
    let mut show = Show::new("a");
    show.apply(named("Pushed").change(1.0)).unwrap();
    show.chain.before.push(Stage::new(kind("contrast")));
    let was = show.clone();
    let folder = Path::new("/somewhere");
    let order =
        |show: &Show| show.chain.look.iter().map(|s| s.declaration().key).collect::<Vec<_>>().join(" ");
    let key = |text| StageKey::parse(text).unwrap();
    let cases = [
        // Texture ahead of the look's first tone, though tone stands before the look; all else ahead of grain.
        ("Flashed", "diffusion", None, "diffusion contrast crosstalk curves grain"),
        ("Two-colour", "crosstalk 3", None, "contrast crosstalk curves crosstalk grain"),
        ("Pushed", "grain", None, "contrast crosstalk curves grain grain"),
        ("Two-colour", "crosstalk 3", Some(0), "crosstalk contrast crosstalk curves grain"),
    ];
    for (look, stage, at, expected) in cases {
        let change = show.take_stage(folder, named(look), key(stage), at).unwrap();
        let Change::AddStage { at, .. } = change else { panic!("{change:?}") };
        let back = show.apply(change).unwrap();
        assert_eq!(order(&show), expected);
        assert_eq!(show.chain.look[at], *named(look).stage(key(stage)).unwrap());
        assert!(show.chain.is_changed());
        show.apply(back).unwrap();
        assert_eq!(show, was);
    }
    let error = show.take_stage(folder, named("Pushed"), key("contrast 2"), None).unwrap_err().to_string();
    assert_eq!(error, "Pushed has no contrast number 2; accepted: contrast, crosstalk, curves, grain");
    let mut luts = named("Pushed").clone();
    luts.stages.push(with_lut("one.cube", "logc4"));
    luts.stages[4].lut.as_mut().unwrap().file = PathBuf::from("/somewhere/else/t.cube");
    let change = show.take_stage(folder, &luts, key("lut"), None).unwrap();
    let Change::AddStage { stage, at: 3, .. } = change else { panic!("{change:?}") };
    assert_eq!(stage.lut.unwrap().file, PathBuf::from("else/t.cube"));
}

/// Into a file that is based on another, behind the other's stages only.
#[test]
fn a_stage_is_taken_into_a_file() {
    let whole = read_look(BASED, Path::new("l.toml")).unwrap();
    let pushed = shipped_looks().iter().find(|l| l.name == "Pushed").unwrap();
    let mut file = LookFile::based(&whole, "Pushed", pushed).unwrap();
    let was = file.clone();
    let key = |text| StageKey::parse(text).unwrap();
    let flashed = shipped_looks().iter().find(|l| l.name == "Flashed").unwrap();
    assert_eq!(file.take_stage(&whole, flashed, key("contrast"), None).unwrap(), 5);
    assert_eq!(file.stages.iter().map(|s| s.kind).collect::<Vec<_>>(), [kind("contrast"); 2]);
    let mut file = was.clone();
    assert_eq!(file.take_stage(&whole, flashed, key("curves"), Some(4)).unwrap(), 4);
    assert_eq!((file.stages[0].kind, file.stages.len()), (kind("curves"), 2));
    for (at, said) in [
        (None, "place 1 is one of 4 that are those of Pushed"),
        (Some(3), "accepted: place 5 or a later one"),
        (Some(6), "look has no place 7; accepted: 1 to 6"),
    ] {
        let mut file = was.clone();
        let error = file.take_stage(&whole, flashed, key("diffusion"), at).unwrap_err().to_string();
        assert!(error.contains(said), "{error}");
        assert_eq!(file, was);
    }
}
