//! Saving, autosave and the lock.

use super::*;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn a_saved_show_loads_and_leaves_nothing_beside_it() {
    let dir = tempfile::tempdir().unwrap();
    for show in [full_show(), Show::new("second")] {
        save(&show, dir.path()).unwrap();
        assert_eq!(load(dir.path()).unwrap(), show);
        assert_eq!(names(dir.path()), [SHOW_FILE]);
    }
}

#[test]
fn a_failed_save_leaves_the_old_file_and_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    save(&full_show(), dir.path()).unwrap();
    let path = dir.path().join(SHOW_FILE);
    let failing = |error: io::Error| {
        write_atomically(&path, |file| {
            file.write_all(b"version = 1\nhalf of it")?;
            Err(error)
        })
    };
    let full = failing(io::ErrorKind::StorageFull.into()).unwrap_err();
    assert!(matches!(full, ShowError::Full { .. }));
    assert!(
        full.to_string()
            .ends_with("show.toml was not saved: no space left there; the file from before is as it was")
    );
    let other = failing(io::Error::other("the cable is out")).unwrap_err().to_string();
    assert!(other.starts_with("cannot save ") && other.ends_with("show.toml: the cable is out"), "{other}");
    assert_eq!(names(dir.path()), [SHOW_FILE]);
    assert_eq!(load(dir.path()).unwrap(), full_show());
}

#[cfg(target_os = "linux")]
#[test]
fn the_systems_own_word_for_a_full_disk_is_understood() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(SHOW_FILE);
    // /dev/full answers every write with the error that a full disk gives.
    let error = write_atomically(&path, |_| {
        std::fs::OpenOptions::new().write(true).open("/dev/full")?.write_all(b"x")
    });
    assert!(matches!(error, Err(ShowError::Full { .. })), "{error:?}");
    assert!(names(dir.path()).is_empty());
}

#[test]
fn saving_where_there_is_no_folder_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let said = save(&full_show(), &dir.path().join("gone")).unwrap_err().to_string();
    assert!(said.starts_with("cannot save ") && said.contains("gone"), "{said}");
    assert!(names(dir.path()).is_empty());
}

#[test]
fn a_show_that_could_not_be_read_back_does_not_replace_one_that_can() {
    let dir = tempfile::tempdir().unwrap();
    save(&full_show(), dir.path()).unwrap();
    let mut broken = full_show();
    // Past the changes, which would have refused it.
    broken.shots[1].name = broken.shots[0].name.clone();
    let said = save(&broken, dir.path()).unwrap_err().to_string();
    assert!(said.contains("two shots are called \"gate\""), "{said}");
    assert_eq!(load(dir.path()).unwrap(), full_show());
}

#[test]
fn a_process_that_died_while_saving_does_no_harm() {
    let dir = tempfile::tempdir().unwrap();
    save(&full_show(), dir.path()).unwrap();
    let left = format!(".{SHOW_FILE}.4711-0.tmp");
    std::fs::write(dir.path().join(&left), "version = 1\n[show]\nna").unwrap();
    // One of our own number, as when the system gave it out again.
    for count in 0..200 {
        let name = format!(".{SHOW_FILE}.{}-{count}.tmp", std::process::id());
        std::fs::write(dir.path().join(name), "x".repeat(100_000)).unwrap();
    }
    assert_eq!(load(dir.path()).unwrap(), full_show());
    save(&Show::new("next"), dir.path()).unwrap();
    assert_eq!(load(dir.path()).unwrap(), Show::new("next"));
    // Opening the show tidies up.
    let _lock = Lock::take(dir.path()).unwrap();
    assert_eq!(names(dir.path()), [LOCK_FILE, SHOW_FILE]);
}

#[cfg(unix)]
#[test]
fn a_save_keeps_links_and_permissions() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let real = dir.path().join("real.toml");
    std::fs::write(&real, "old").unwrap();
    std::fs::set_permissions(&real, std::fs::Permissions::from_mode(0o640)).unwrap();
    let link = dir.path().join("link.toml");
    std::os::unix::fs::symlink(&real, &link).unwrap();
    write_atomically(&link, |f| f.write_all(b"new")).unwrap();
    assert_eq!(std::fs::read_to_string(&real).unwrap(), "new");
    assert!(link.symlink_metadata().unwrap().is_symlink());
    assert_eq!(real.metadata().unwrap().permissions().mode() & 0o777, 0o640);
}

#[test]
fn readers_find_whole_files_while_it_is_being_saved() {
    let dir = tempfile::tempdir().unwrap();
    let (a, b) = (full_show(), Show::new("short"));
    save(&a, dir.path()).unwrap();
    std::thread::scope(|scope| {
        let writers: Vec<_> = [&a, &b]
            .map(|show| scope.spawn(|| (0..40).for_each(|_| save(show, dir.path()).unwrap())))
            .into_iter()
            .collect();
        let mut reads = 0;
        while reads == 0 || writers.iter().any(|w| !w.is_finished()) {
            let found = load(dir.path()).unwrap();
            assert!(found == a || found == b);
            reads += 1;
        }
    });
    assert_eq!(names(dir.path()), [SHOW_FILE]);
}

#[test]
fn autosave_is_throttled_and_not_put_off() {
    let start = Instant::now();
    let ms = |n: u64| start + Duration::from_millis(n);
    let mut autosave = Autosave::default();
    assert!(!autosave.due(ms(100_000)) && !autosave.unsaved());
    // A control that never rests.
    let mut saves = Vec::new();
    for t in (0..3000).step_by(10) {
        autosave.note_change(ms(t));
        if autosave.due(ms(t)) {
            saves.push(t);
            autosave.begun();
            assert!(autosave.unsaved());
            autosave.saved();
        }
    }
    assert_eq!(saves, [300, 610, 920, 1230, 1540, 1850, 2160, 2470, 2780]);
    assert!(autosave.unsaved());
    assert_eq!(autosave.due_at(), Some(ms(3090)));
    autosave.begun();
    autosave.saved();
    assert!(!autosave.unsaved() && !autosave.due(ms(100_000)));
}

#[test]
fn autosave_waits_for_a_slow_save_and_tries_again_after_a_failed_one() {
    let start = Instant::now();
    let ms = |n: u64| start + Duration::from_millis(n);
    let mut autosave = Autosave::default();
    autosave.note_change(ms(0));
    assert!(!autosave.due(ms(299)) && autosave.due(ms(300)));
    autosave.begun();
    autosave.note_change(ms(600));
    assert!(!autosave.due(ms(5000)), "one save at a time");
    autosave.saved();
    assert!(autosave.due(ms(5000)) && autosave.unsaved());
    autosave.begun();
    autosave.failed(ms(6000));
    assert!(autosave.unsaved() && !autosave.due(ms(6299)) && autosave.due(ms(6300)));
}

#[test]
fn a_show_is_open_once() {
    let dir = tempfile::tempdir().unwrap();
    let lock = Lock::take(dir.path()).unwrap();
    assert_eq!(lock.folder(), dir.path());
    let said = Lock::take(dir.path()).unwrap_err().to_string();
    if cfg!(unix) {
        let expected = format!(
            "show is open in another Greyhold (process {}): {}",
            std::process::id(),
            dir.path().display()
        );
        assert_eq!(said, expected);
    } else {
        assert!(said.starts_with("show is open in another Greyhold (process "), "{said}");
    }
    drop(lock);
    drop(Lock::take(dir.path()).unwrap());
    let said = Lock::take(&dir.path().join("gone")).unwrap_err().to_string();
    assert!(said.starts_with("cannot lock ") && said.contains("gone"), "{said}");
}

const HOLD: &str = "GREYHOLD_TEST_HOLD";

/// Run by the test below as another process, which holds a lock until it is killed; by itself, it checks
/// the lock that it holds and ends.
#[test]
fn other_process_holds_a_lock() {
    let dir = tempfile::tempdir().unwrap();
    let asked = std::env::var_os(HOLD).map(PathBuf::from);
    let folder = asked.clone().unwrap_or_else(|| dir.path().to_owned());
    let _lock = Lock::take(&folder).unwrap();
    assert!(matches!(Lock::take(&folder), Err(ShowError::Open { .. })));
    if asked.is_some() {
        println!("\nholding");
        std::thread::sleep(Duration::from_secs(60));
    }
}

#[test]
fn a_killed_process_gives_its_lock_back() {
    use std::io::BufRead;
    use std::process::{Command, Stdio};
    let dir = tempfile::tempdir().unwrap();
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "save::other_process_holds_a_lock", "--nocapture"])
        .env(HOLD, dir.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = io::BufReader::new(child.stdout.take().unwrap()).lines();
    let held = lines.map_while(Result::ok).any(|l| l == "holding");
    let while_held = Lock::take(dir.path()).map_err(|e| e.to_string());
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(held);
    let said = while_held.unwrap_err();
    assert!(said.starts_with("show is open in another Greyhold (process "), "{said}");
    if cfg!(unix) {
        assert!(said.contains(&format!("(process {})", child.id())), "{said}");
    }
    Lock::take(dir.path()).unwrap();
}
