//! Looks as files on the command line: based on others, listed, copied from, saved with their intent; groups of shots.

mod support;

use std::path::Path;
use std::process::Command;

use greyhold::colour::encoding;
use greyhold::look::{Intent, Stage, stage};
use greyhold::show::{Address, Change, Shot, Show, load, load_look, save, save_look, shipped_looks};
use support::{greyhold, sequence};

/// The program with a folder of settings of its own.
fn program(config: &Path) -> Command {
    let mut command = greyhold();
    command.env("XDG_CONFIG_HOME", config);
    command
}

/// Status and all that is said.
fn run(config: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let out = program(config).args(arguments).output().unwrap();
    (out.status.code(), String::from_utf8_lossy(&[out.stdout, out.stderr].concat()).into_owned())
}

#[track_caller]
fn fine(config: &Path, arguments: &[&str]) -> String {
    let (status, said) = run(config, arguments);
    assert_eq!(status, Some(0), "{arguments:?}: {said}");
    said
}

#[track_caller]
fn refused(config: &Path, arguments: &[&str], parts: &[&str]) {
    let (status, said) = run(config, arguments);
    assert!(status == Some(2) && parts.iter().all(|p| said.contains(p)), "{arguments:?}: {said}");
}

fn shot(name: &str) -> Shot {
    Shot::new(name, "a.mov", 0..8, encoding("logc4").unwrap())
}

/// A show whose look is the one of that name.
fn show(dir: &Path, look: &str) -> Show {
    let mut show = Show::new("a");
    show.shots = vec![shot("gate"), shot("quay"), shot("yard")];
    let look = shipped_looks().iter().find(|l| l.name == look).unwrap();
    show.apply(look.change(1.0)).unwrap();
    save(&show, dir).unwrap();
    show
}

fn set(show: &mut Show, dir: &Path, address: &str, value: f64) {
    let slot = show.resolve(&Address::parse(address).unwrap(), 0).unwrap();
    show.apply(Change::SetParameter { slot, value }).unwrap();
    save(show, dir).unwrap();
}

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// A saved look means what the look meant that the show's was; its note goes once it is another.
#[test]
fn a_saved_look_keeps_its_intent() {
    let dir = tempfile::tempdir().unwrap();
    let (d, config) = (dir.path(), dir.path().join("config"));
    let mut show = show(d, "Panchromatic");
    let own = shipped_looks().iter().find(|l| l.name == "Panchromatic").unwrap();
    fine(&config, &["look", "save", path(d), "Silver"]);
    let saved = load_look(&d.join("looks/silver.toml")).unwrap();
    assert_eq!(
        (saved.intent, &saved.note, &saved.stages),
        (Some(Intent::Monochrome), &own.note, &own.stages)
    );
    set(&mut show, d, "look/contrast/slope", 0.9);
    fine(&config, &["look", "save", path(d), "Soft silver"]);
    let soft = load_look(&d.join("looks/soft-silver.toml")).unwrap();
    assert_eq!((soft.intent, soft.note.as_str()), (Some(Intent::Monochrome), ""));
    fine(&config, &["look", "save", path(d), "Sepia", "--intent", "toned", "--note", "Brown."]);
    let sepia = load_look(&d.join("looks/sepia.toml")).unwrap();
    assert_eq!((sepia.intent, sepia.note.as_str()), (Some(Intent::Toned), "Brown."));
    // The check holds it to what it says: monochrome, it is judged by its neutral axis.
    let said = fine(&config, &["check", path(&d.join("looks/soft-silver.toml"))]);
    assert!(said.contains("intent monochrome"), "{said}");
}

/// Strengths alone may differ from the look that is cited, and what is saved so is checked, tried and read like any other.
#[test]
fn a_look_is_saved_as_based_on_another() {
    let dir = tempfile::tempdir().unwrap();
    let (d, config) = (dir.path(), dir.path().join("config"));
    let mut show = show(d, "Pushed");
    set(&mut show, d, "look/grain/strength", 0.25);
    let said = fine(&config, &["look", "save", path(d), "Finer", "--based-on", "Pushed"]);
    assert!(said.contains("finer.toml: pushed, 1 strengths and 0 stages more"), "{said}");
    let file = d.join("looks/finer.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains("based-on = \"pushed\"\n\n[strengths]\ngrain = 0.25\n"), "{text}");
    assert!(!text.contains("[[stage]]"), "{text}");
    assert_eq!(load_look(&file).unwrap().stages, show.chain.look);
    // By its name: the check of the show's own looks. Grain is texture; what is measured is Pushed.
    let finer = fine(&config, &["check", "finer", "--show", path(d)]);
    let pushed = fine(&config, &["check", "pushed"]);
    assert_eq!(finer.replace("Finer", "Pushed"), pushed);

    // One on that in turn, named by its file, relative to the one that names it.
    set(&mut show, d, "look/curves/strength", 0.5);
    fine(&config, &["look", "save", path(d), "Plainer", "--based-on", "finer"]);
    let text = std::fs::read_to_string(d.join("looks/plainer.toml")).unwrap();
    assert!(text.contains("based-on = \"finer.toml\"\n\n[strengths]\ncurves = 0.5\n"), "{text}");
    assert_eq!(load_look(&d.join("looks/plainer.toml")).unwrap().stages, show.chain.look);

    set(&mut show, d, "look/contrast/slope", 1.4);
    let based = ["look", "save", path(d), "Harder", "--based-on", "Pushed"];
    refused(&config, &based, &["differs from Pushed", "slope is 1.4, not 1.32", "accepted: the same stages"]);
    refused(
        &config,
        &["look", "save", path(d), "Harder", "--based-on", "Pulled"],
        &["\"Pulled\"", "finer, plainer"],
    );
    assert!(!d.join("looks/harder.toml").exists());
}

/// All there are, of three places; a file that cannot be used does not hide.
#[test]
fn looks_are_listed_and_known_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let (d, config) = (dir.path().join("show"), dir.path().join("config"));
    std::fs::create_dir(&d).unwrap();
    let mut there = Show::new("a");
    let clip = sequence(&d.join("footage"), (64, 36), 2);
    there.shots.push(Shot::new("s", clip, 0..2, encoding("v-log").unwrap()));
    save(&there, &d).unwrap();
    let own = config.join("greyhold/looks");
    std::fs::create_dir_all(&own).unwrap();
    std::fs::create_dir_all(d.join("looks")).unwrap();
    let mut frost = shipped_looks().iter().find(|l| l.name == "Panchromatic").unwrap().clone();
    (frost.name, frost.note) = ("Dry frost".into(), "Cold.".into());
    save_look(&frost, &own.join("frost.toml")).unwrap();
    std::fs::write(d.join("looks/torn.toml"), "version = 1\n[look]\n").unwrap();
    let said = fine(&config, &["look", "list", path(&d)]);
    let lines: Vec<&str> = said.lines().collect();
    let at =
        |part: &str| lines.iter().position(|l| l.contains(part)).unwrap_or_else(|| panic!("{part}: {said}"));
    assert!(at("come with the program") < at("two-colour"));
    assert!(at("two-colour") < at(&format!("your own, in {}", own.display())));
    let words: Vec<&str> = lines[at("Dry frost")].split_whitespace().collect();
    assert_eq!(words, ["frost", "Dry", "frost", "monochrome", "Cold."]);
    assert!(
        at("Dry frost") < at("the show's, in ") && at("torn.toml:2: [look] lacks name") == lines.len() - 1
    );
    // Without a show, the show's are not there; without a folder of one's own, it is said where it would be.
    let said = fine(&dir.path().join("none"), &["look", "list"]);
    assert!(said.contains("none/greyhold/looks: none") && !said.contains("torn"), "{said}");
    refused(&config, &["look", "list", path(dir.path())], &["show.toml"]);

    let said = fine(&config, &["check", "dry-frost"]);
    assert!(said.starts_with("Dry frost at strength 1, intent monochrome"), "{said}");
    refused(&config, &["check", "torn", "--show", path(&d)], &["torn.toml:2"]);
    let out = dir.path().join("sheet.png");
    let sheet = ["sheet", path(&d), "--out", path(&out), "--on", "cpu", "--width", "640", "--looks"];
    let said = fine(&config, &[&sheet[..], &["frost,pushed"]].concat());
    assert!(said.contains("3 looks × 1 shots"), "{said}");
    refused(&config, &[&sheet[..], &["ice"]].concat(), &["no look is called \"ice\"", "frost, torn"]);
}

/// A stage into a show's look, a look file, and one of one's own by name; never into one that comes with the program.
#[test]
fn a_stage_is_copied_between_looks() {
    let dir = tempfile::tempdir().unwrap();
    let (d, config) = (dir.path().join("show"), dir.path().join("config"));
    std::fs::create_dir(&d).unwrap();
    let mut there = show(&d, "Pushed");
    let order = |stages: &[Stage]| stages.iter().map(|s| s.declaration().key).collect::<Vec<_>>().join(" ");
    let said = fine(&config, &["look", "copy", "flashed", "diffusion", path(&d)]);
    assert_eq!(said, "look/1: diffusion of Flashed\n");
    let now = load(&d).unwrap();
    assert_eq!(order(&now.chain.look), "diffusion contrast crosstalk curves grain");
    assert!(now.chain.is_changed() && now.chain.before.is_empty() && now.chain.finish.is_empty());
    let flashed = shipped_looks().iter().find(|l| l.name == "Flashed").unwrap();
    assert_eq!(now.chain.look[0], flashed.stages[0]);

    // From a show into a file, with its own values and the table that only the show's folder knows.
    std::fs::write(d.join("t.cube"), "LUT_1D_SIZE 2\n0 0 0\n1 1 0.5\n").unwrap();
    let mut table = Stage::new(stage("lut").unwrap());
    table.lut = Some(greyhold::show::load_lut(&d, Path::new("t.cube")).unwrap());
    there.chain.look.push(table);
    let mut second = Stage::new(stage("contrast").unwrap());
    second.strength = 0.75;
    there.chain.look.push(second.clone());
    save(&there, &d).unwrap();
    let own = config.join("greyhold/looks");
    std::fs::create_dir_all(&own).unwrap();
    let file = own.join("mine.toml");
    save_look(flashed, &file).unwrap();
    fine(&config, &["look", "copy", path(&d), "contrast-2", path(&file), "--at", "1"]);
    let said = fine(&config, &["look", "copy", path(&d), "lut", "mine"]);
    assert!(said.contains("mine.toml, stage 5: lut of Pushed"), "{said}");
    let mine = load_look(&file).unwrap();
    assert_eq!(order(&mine.stages), "contrast diffusion contrast curves lut");
    assert_eq!(mine.stages[0], second);
    assert_eq!(mine.stages[4].lut.as_ref().unwrap().lut.apply([1.0; 3]), [1.0, 1.0, 0.5]);

    let before = std::fs::read(&file).unwrap();
    let base = "based-on = \"pushed\"";
    std::fs::write(own.join("based.toml"), format!("version = 1\n[look]\nname = \"B\"\n{base}\n")).unwrap();
    let refusals: [(&[&str], &[&str]); 7] = [
        (&["flashed", "diffusion", "pushed"], &["pushed comes with the program", "a look of your own"]),
        (&["flashed", "grain", "mine"], &["Flashed has no grain; accepted: diffusion, contrast, curves"]),
        (&["flashed", "contrast-2", "mine"], &["Flashed has no contrast number 2"]),
        (
            &["flashed", "diffusoin", "mine"],
            &["no stage \"diffusoin\"; accepted: diffusion, contrast, curves"],
        ),
        (&["flashed", "diffusion", "mine", "--at", "7"], &["look has no place 7; accepted: 1 to 6"]),
        (
            &["flashed", "diffusion", "based"],
            &["one of 4 that are those of pushed", "place 5 or a later one"],
        ),
        (&["flashed", "diffusion", "yours"], &["no look is called \"yours\"", "or the folder of a show"]),
    ];
    for (arguments, parts) in refusals {
        refused(&config, &[&["look", "copy"], arguments].concat(), parts);
    }
    assert_eq!(std::fs::read(&file).unwrap(), before);
    fine(&config, &["look", "copy", "flashed", "diffusion", "based", "--at", "5"]);
    let text = std::fs::read_to_string(own.join("based.toml")).unwrap();
    assert!(text.contains(base) && text.matches("[[stage]]").count() == 1, "{text}");
    let lock = greyhold::show::Lock::take(&d).unwrap();
    refused(&config, &["look", "copy", "flashed", "diffusion", path(&d)], &["open in another Greyhold"]);
    drop(lock);
}

/// Shots go into groups and out of them; the show's file has it.
#[test]
fn groups_of_shots_are_made_and_left() {
    let dir = tempfile::tempdir().unwrap();
    let (d, config) = (dir.path(), dir.path().join("config"));
    show(d, "Pushed");
    let group = |arguments: &[&str]| fine(&config, &[&["group"], arguments].concat());
    assert_eq!(group(&["list", path(d)]), "");
    assert_eq!(group(&["add", path(d), "night", "gate", "yard"]), "night: gate, yard\n");
    assert_eq!(group(&["add", path(d), "B camera"]), "B camera: no shots\n");
    assert_eq!(group(&["add", path(d), "night", "quay", "gate"]), "night: gate, quay, yard\n");
    assert_eq!(group(&["add", path(d), "B camera", "quay"]), "B camera: quay\n");
    let mut there = load(d).unwrap();
    assert_eq!(there.shots[1].groups, ["night", "B camera"]);
    set(&mut there, d, "group/night/trim/look", 0.5);
    set(&mut there, d, "group/night/trim/grain", 0.25);
    assert_eq!(group(&["leave", path(d), "night", "gate"]), "night: quay, yard; look × 0.5, grain × 0.25\n");
    assert_eq!(group(&["list", path(d)]).lines().count(), 2);
    let before = load(d).unwrap();
    refused(
        &config,
        &["group", "add", path(d), "night", "nobody"],
        &["\"nobody\"; accepted: gate, quay, yard"],
    );
    refused(&config, &["group", "leave", path(d), "day", "gate"], &["\"day\"; accepted: night, B camera"]);
    refused(&config, &["group", "remove", path(d), "day"], &["\"day\"; accepted: night, B camera"]);
    refused(&config, &["group", "add", path(d), "", "gate"], &["a group cannot be called \"\""]);
    assert_eq!(load(d).unwrap(), before);
    group(&["remove", path(d), "night"]);
    let after = load(d).unwrap();
    assert_eq!((after.groups.len(), &after.shots[1].groups[..]), (1, &["B camera".to_owned()][..]));
}
