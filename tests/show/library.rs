//! The library of looks.

use super::*;

fn text(name: &str) -> String {
    format!(
        "version = 1\n[look]\nname = \"{name}\"\nnote = \"n\"\nintent = \"toned\"\n[[stage]]\nstage = \"contrast\"\n"
    )
}

/// All there is, in order; what cannot be used is there too, and says why.
#[test]
fn the_library_lists_three_places() {
    let dir = tempfile::tempdir().unwrap();
    let (own, show) = (dir.path().join("own"), dir.path().join("show"));
    assert_eq!(library_of(Some(&own), Some(&show)).len(), LOOK_FILES.len(), "folders nobody made are empty");
    let looks = show.join(LOOKS_FOLDER);
    for folder in [&own, &looks] {
        std::fs::create_dir_all(folder).unwrap();
    }
    std::fs::write(own.join("frost.toml"), text("Dry frost")).unwrap();
    std::fs::write(own.join("notes.txt"), "x").unwrap();
    std::fs::write(looks.join("broken.toml"), "version = 1\n").unwrap();
    std::fs::write(looks.join("frost.toml"), text("Wet frost")).unwrap();
    let lut = "[[stage]]\nstage = \"lut\"\nfile = \"gone.cube\"\n";
    std::fs::write(looks.join("lut.toml"), text("With a LUT") + lut).unwrap();
    let found = library_of(Some(&own), Some(&show));
    let (shipped, more) = found.split_at(LOOK_FILES.len());
    for (listed, look) in shipped.iter().zip(shipped_looks()) {
        assert_eq!((listed.shelf, listed.path()), (Shelf::Shipped, None));
        assert_eq!(listed.about.as_ref().unwrap(), &About::from(look));
        assert_eq!(&listed.read().unwrap(), look);
    }
    let named: Vec<_> = more.iter().map(|l| (l.shelf, l.stem(), l.about.is_ok())).collect();
    let expected = [
        (Shelf::Own, "frost", true),
        (Shelf::Show, "broken", false),
        (Shelf::Show, "frost", true),
        (Shelf::Show, "lut", false),
    ];
    assert_eq!(named, expected.map(|(shelf, stem, ok)| (shelf, stem.to_owned(), ok)));
    let about = more[0].about.as_ref().unwrap();
    assert_eq!(
        (about.name.as_str(), about.note.as_str(), about.intent),
        ("Dry frost", "n", Some(Intent::Toned))
    );
    assert_eq!(about.stages, [StageKey::parse("contrast").unwrap()]);
    assert_eq!(more[0].path(), Some(&*own.join("frost.toml")));
    for (at, said) in [(1, "broken.toml:1: the file lacks [look]"), (3, "gone.cube could not be read")] {
        let why = more[at].about.as_ref().unwrap_err().to_string();
        assert!(why.contains(said), "{why}");
    }
    // With its LUT there it is a look, and is read with it.
    std::fs::write(looks.join("gone.cube"), "LUT_1D_SIZE 2\n0 0 0\n1 1 0.5\n").unwrap();
    let found = library_of(None, Some(&show));
    let listed = found.last().unwrap();
    assert_eq!(listed.about.as_ref().unwrap().stages.len(), 2);
    assert!(listed.read().unwrap().stages[1].lut.is_some());
}

/// Files' names count, then looks'; of each the nearest: the show's, then the user's, then what ships.
#[test]
fn a_name_means_the_nearest_look() {
    let dir = tempfile::tempdir().unwrap();
    let looks = dir.path().join(LOOKS_FOLDER);
    let own = dir.path().join("own");
    for folder in [&own, &looks] {
        std::fs::create_dir_all(folder).unwrap();
    }
    for (folder, file, name) in [
        (&own, "a.toml", "Pushed"),
        (&own, "flashed.toml", "Bright"),
        (&own, "c.toml", "Hoar frost"),
        (&own, "winter.toml", "Snow"),
        (&looks, "b.toml", "Hoar frost"),
        (&looks, "snow.toml", "Ice"),
    ] {
        std::fs::write(folder.join(file), text(name)).unwrap();
    }
    std::fs::write(looks.join("reversal.toml"), "version = 1\n").unwrap();
    let all = library_of(Some(&own), Some(dir.path()));
    let found = |name: &str| find_look(&all, name).map(|l| (l.shelf, l.stem()));
    for (name, shelf, stem) in [
        ("Pushed", Shelf::Shipped, "pushed"),
        ("flashed", Shelf::Own, "flashed"),
        ("two-colour", Shelf::Shipped, "two-colour"),
        ("Low-contrast print", Shelf::Shipped, "low-contrast-print"),
        ("winter", Shelf::Own, "winter"),
        ("SNOW", Shelf::Show, "snow"),
        ("Hoar frost", Shelf::Show, "b"),
        ("ice", Shelf::Show, "snow"),
    ] {
        assert_eq!(found(name).unwrap(), (shelf, stem.to_owned()), "{name}");
    }
    // A broken one does not let another pass for it.
    let error = find_look(&all, "reversal").unwrap().read().unwrap_err().to_string();
    assert!(error.contains("reversal.toml:1"), "{error}");
    let error = found("thaw").unwrap_err().to_string();
    assert!(
        error.contains("\"thaw\"") && error.contains("reversal, two-colour, a, c, flashed, winter, b,"),
        "{error}"
    );
}

/// The desk asks whenever a menu opens. A limit with room for a busy machine; the median is printed.
#[test]
fn the_library_is_cheap_to_list() {
    let dir = tempfile::tempdir().unwrap();
    let looks = dir.path().join(LOOKS_FOLDER);
    std::fs::create_dir_all(&looks).unwrap();
    for n in 0..40 {
        save_look(&shipped_looks()[n % 10], &looks.join(format!("{n}.toml"))).unwrap();
    }
    let mut times: Vec<Duration> = (0..9)
        .map(|_| {
            let start = Instant::now();
            assert_eq!(library_of(None, Some(dir.path())).len(), LOOK_FILES.len() + 40);
            start.elapsed()
        })
        .collect();
    times.sort();
    println!("40 look files: {:?}", times[4]);
    assert!(times[4] < Duration::from_millis(100), "{:?}", times[4]);
}
