//! The commands as a person gives them: what they print, what they refuse and how.

mod support;

use std::io::Write;
use std::path::Path;
use std::process::{Output, Stdio};

use greyhold::colour::{DISPLAYS, ENCODINGS, Encoding, OUTPUT_TRANSFORMS};
use greyhold::picture::BalanceField;
use greyhold::show::shipped_looks;
use support::{greyhold, sequence};

fn run(arguments: &[&str]) -> Output {
    greyhold().args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn fine(arguments: &[&str]) -> String {
    let out = run(arguments);
    assert!(out.status.success(), "{arguments:?}: {}", text(&out.stderr));
    text(&out.stdout)
}

/// What a refused command says; it must end with status 2 and print nothing on standard output.
fn refused(arguments: &[&str]) -> String {
    let out = run(arguments);
    assert_eq!(out.status.code(), Some(2), "{arguments:?}: {}", text(&out.stderr));
    text(&out.stderr)
}

fn values(arguments: &[&str], lines: &str) -> Output {
    let mut child = greyhold()
        .arg("values")
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

fn numbers(out: &Output) -> Vec<Vec<f64>> {
    assert!(out.status.success(), "{}", text(&out.stderr));
    text(&out.stdout).lines().map(|l| l.split_whitespace().map(|w| w.parse().unwrap()).collect()).collect()
}

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// A show with one shot of eight frames.
fn show(dir: &Path) -> std::path::PathBuf {
    let clip = sequence(&dir.join("footage"), (96, 54), 8);
    let show = dir.join("show");
    fine(&["new", path(&show)]);
    fine(&["add", path(&show), path(&clip), "--encoding", "logc4"]);
    show
}

/// A stage goes where it belongs, or where it is told to; what is no stage, list or place is refused.
#[test]
fn stages_are_put_in() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let put = |arguments: &[&str]| fine(&[&["stage", path(&show)], arguments].concat());
    assert_eq!(put(&["saturation"]), "look/1: saturation\n");
    assert_eq!(put(&["contrast"]), "look/2: contrast\n");
    assert_eq!(put(&["contrast", "--list", "finish"]), "finish/1: contrast\n");
    assert_eq!(put(&["curves", "--list", "look", "--at", "1"]), "look/1: curves\n");
    let keys = || {
        let chain = greyhold::show::load(&show).unwrap().chain;
        greyhold::look::List::ALL
            .map(|l| chain.list(l).iter().map(|s| s.declaration().key).collect::<Vec<_>>())
    };
    let expected = [vec![], vec!["curves", "saturation", "contrast"], vec!["contrast"]];
    assert_eq!(keys(), expected);
    let rows = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n";
    let broken = dir.path().join("broken.cube");
    std::fs::write(&broken, format!("# seven of eight\nLUT_3D_SIZE 2\n{rows}")).unwrap();
    for (arguments, said) in [
        (&["contast"][..], "no stage is called \"contast\"; accepted: contrast, split-tone"),
        (&["contrast", "--list", "middle"], "accepted: before, look, finish"),
        (&["contrast", "--list", "look", "--at", "5"], "look has no place 5; accepted: 1 to 4"),
        (&["contrast", "--list", "look", "--at", "0"], "places are counted from 1"),
        (&["contrast", "--at", "1"], "--list"),
        (&["contrast", "--file", "print.cube"], "the stage contrast reads no file"),
        (&["lut"], "the stage lut needs --file, a .cube or .clf file"),
        (&["lut", "--file", "nowhere.cube"], "nowhere.cube"),
        (&["lut", "--file", path(&broken)], "7 of 8"),
    ] {
        let error = refused(&[&["stage", path(&show)], arguments].concat());
        assert!(error.contains(said), "{arguments:?}: {error}");
    }
    assert_eq!(keys(), expected);
    // A LUT that swaps red and blue, and what the show then makes of a colour.
    let swapped = dir.path().join("swap.cube");
    let swap = "0 0 0\n0 0 1\n0 1 0\n0 1 1\n1 0 0\n1 0 1\n1 1 0\n1 1 1\n";
    std::fs::write(&swapped, format!("LUT_3D_SIZE 2\n{swap}")).unwrap();
    assert_eq!(
        put(&["lut", "--file", path(&swapped), "--list", "before"]),
        "before/1: lut\n  expects and gives acescct: assumed, since nothing says otherwise\n"
    );
    let lut = greyhold::show::load(&show).unwrap().chain.before[0].lut.clone().unwrap();
    assert_eq!(lut.lut.apply([0.25, 0.5, 0.75]), [0.75, 0.5, 0.25]);
}

/// A CLF goes in with what it costs, a LUT with what it is said to expect and give; the picture follows.
#[test]
fn luts_are_put_in_with_what_they_expect() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let put = |arguments: &[&str]| fine(&[&["stage", path(&show), "lut", "--file"], arguments].concat());
    let clf = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/luts/chain_st2136.clf");
    let said = put(&[path(&clf), "--expects", "logc4", "--gives", "acescct"]);
    let lines: Vec<_> = said.lines().collect();
    assert_eq!(
        lines[..3],
        ["look/1: lut", "  expects logc4, gives acescct", "  input: ACES2065-1; output: signal"]
    );
    assert!(lines[3].starts_with("  coarsely baked: 99 of 100 colours within "), "{said}");
    let cube = dir.path().join("one.cube");
    std::fs::write(&cube, "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n").unwrap();
    assert_eq!(
        put(&[path(&cube), "--gives", "s-log3"]),
        "look/2: lut\n  expects acescct (assumed), gives s-log3\n"
    );
    let sides = greyhold::show::load(&show)
        .unwrap()
        .chain
        .look
        .iter()
        .map(|s| {
            let lut = s.lut.as_ref().unwrap();
            [lut.expects, lut.gives].map(|side| side.space.id())
        })
        .collect::<Vec<_>>();
    assert_eq!(sides, [["logc4", "acescct"], ["acescct", "s-log3"]]);
    let broken = dir.path().join("broken.clf");
    std::fs::write(
        &broken,
        "<ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"a\" compCLFversion=\"3.0\">\n<Wheel/>\n",
    )
    .unwrap();
    for (arguments, said) in [
        (
            &[path(&cube), "--gives", "rec709"][..],
            &["gives rec709", "no scene light for the stages after it", "lut:FILE"][..],
        ),
        (&[path(&cube), "--expects", "rec2100-pq-1000"], &["expects rec2100-pq-1000", "lut:FILE"]),
        (&[path(&cube), "--expects", "logc9"], &["no encoding is called \"logc9\"", "logc4"]),
        (&[path(&broken)], &["broken.clf", "line 2", "Wheel", "Matrix"]),
    ] {
        let error = refused(&[&["stage", path(&show), "lut", "--file"], arguments].concat());
        assert!(said.iter().all(|word| error.contains(word)), "{arguments:?}: {error}");
    }
    let error = refused(&["stage", path(&show), "contrast", "--expects", "logc4"]);
    assert!(error.contains("--file"), "{error}");
    assert_eq!(greyhold::show::load(&show).unwrap().chain.look.len(), 2);
}

/// Anchors: LogC4's grey code (the specification's 0.2784), ACEScct's (S-2016-001: 0.4135884), and where
/// the tone scale puts grey, 10 % of peak, as BT.1886 signal: 0.1^(1/2.4).
#[test]
fn grey_goes_where_the_documents_say() {
    let grey = "0.278396 0.278396 0.278396\n";
    let linear = numbers(&values(&["--from", "logc4", "--to", "acescg"], grey));
    assert!(linear[0].iter().all(|v| (v - 0.18).abs() < 1e-5), "{linear:?}");
    let acescct = numbers(&values(&["--from", "logc4", "--to", "acescct"], grey));
    assert!(acescct[0].iter().all(|v| (v - 0.413_588_4).abs() < 2e-6), "{acescct:?}");
    let signal = numbers(&values(&["--from", "logc4", "--display", "rec709"], grey));
    assert!(signal[0].iter().all(|v| (v - 0.1f64.powf(1.0 / 2.4)).abs() < 1e-5), "{signal:?}");
}

#[test]
fn lines_come_in_with_spaces_or_commas_and_go_out_one_for_one() {
    let out =
        numbers(&values(&["--from", "acescg", "--to", "acescg"], "# a note\n1 2 3\n\n .5,0.25, -1e-3\n"));
    assert_eq!(
        out,
        [vec![1.0, 2.0, 3.0], vec![0.5, 0.25, f64::from(-1e-3f32)]]
            .map(|v| v.iter().map(|x| format!("{x:.8e}").parse().unwrap()).collect::<Vec<f64>>())
    );
    let bad = values(&["--from", "acescg", "--to", "acescg"], "1 2 3\n1 2\n");
    assert_eq!(bad.status.code(), Some(2));
    assert!(text(&bad.stderr).contains("stdin:2:") && text(&bad.stderr).contains("three numbers"));
    assert!(bad.stdout.is_empty());
}

#[test]
fn every_encoding_display_and_transform_agrees_on_both() {
    let mut lines = String::new();
    for i in 0..60 {
        let v = |k: usize| ((i * k) % 61) as f64 / 60.0;
        lines += &format!("{} {} {}\n", v(1), v(7), v(23));
    }
    let of_one = |from: &Encoding| {
        let mut worst = (0.0f64, String::new());
        for display in DISPLAYS {
            for transform in OUTPUT_TRANSFORMS {
                let arguments = [
                    "--from",
                    from.id,
                    "--display",
                    &display.id,
                    "--output-transform",
                    transform.id(),
                    "--on",
                    "both",
                ];
                let rows = numbers(&values(&arguments, &lines));
                assert_eq!(rows.len(), 60);
                for row in rows {
                    assert_eq!(row.len(), 9);
                    let apart = row[6..].iter().fold(0.0f64, |m, v| m.max(v.abs()));
                    if apart > worst.0 {
                        worst = (apart, arguments.join(" "));
                    }
                }
            }
        }
        worst
    };
    // 840 processes, mostly waiting for their start.
    let found = std::thread::scope(|scope| {
        let (first, second) = ENCODINGS.split_at(ENCODINGS.len() / 2);
        let of_some = |some: &'static [Encoding]| some.iter().map(of_one).collect::<Vec<_>>();
        let other = scope.spawn(move || of_some(second));
        [of_some(first), other.join().expect("its assertions hold")].concat()
    });
    assert_eq!(found.len(), ENCODINGS.len());
    let worst = found.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
    println!("worst pair: {} with {:e}", worst.1, worst.0);
}

/// Middle grey in every encoding, from every encoding. Codes of the cameras as their documents' curves give
/// them for 18 % (the project's colour reference, six digits); of the displays from BT.1886 with black at 0
/// and IEC 61966-2-1, 0.18 of white's light.
#[test]
fn grey_goes_from_any_encoding_to_any() {
    let srgb = 1.055 * 0.18f64.powf(1.0 / 2.4) - 0.055;
    let codes = [
        ("acescct", 0.413588),
        ("acescc", 0.413588),
        ("acescg", 0.18),
        ("aces2065-1", 0.18),
        ("logc3", 0.391007),
        ("logc4", 0.278396),
        ("s-log3", 0.410557),
        ("s-log3-cine", 0.410557),
        ("v-log", 0.423311),
        ("c-log2", 0.398255),
        ("c-log3", 0.343389),
        ("log3g10", 0.333333),
        ("f-log", 0.459318),
        ("f-log2", 0.391007),
        ("n-log", 0.363668),
        ("apple-log", 0.488272),
        ("d-log", 0.398765),
        ("cineon", 0.457320),
        ("bt1886", 0.18f64.powf(1.0 / 2.4)),
        ("srgb", srgb),
    ];
    for e in ENCODINGS {
        assert!(codes.iter().any(|(id, _)| *id == e.id), "{} is not tried", e.id);
    }
    for (from, code) in codes {
        for (to, wanted) in codes {
            let out = numbers(&values(&["--from", from, "--to", to], &format!("{code} {code} {code}\n")));
            // Codes of six digits, through the steepest decode (Log3G10) and the steepest encode here.
            assert!(
                out[0].iter().all(|v| (v - wanted).abs() < 5e-6),
                "{from} to {to}: {out:?}, not {wanted}"
            );
        }
    }
}

/// Display signal comes back as it went in where nothing is between: `none` is no output transform, and a
/// display's encoding is its EOTF both ways.
#[test]
fn display_signal_goes_through_none_unchanged() {
    let lines = "0 0 0\n0.02 0.5 0.9\n1 0.25 0.6\n0.75 0.75 0.75\n1 1 1\n";
    for (from, display) in [("bt1886", "rec709"), ("srgb", "srgb")] {
        let arguments = ["--from", from, "--display", display, "--output-transform", "none"];
        let rows = numbers(&values(&arguments, lines));
        let given = numbers(&values(&["--from", "acescg", "--to", "acescg"], lines));
        for (row, given) in rows.iter().zip(&given) {
            assert!(row.iter().zip(given).all(|(a, b)| (a - b).abs() < 2e-5), "{from}: {row:?} {given:?}");
        }
    }
    // And from one display to the other: BT.1886's 0.5 is 0.5^2.4 of light, which sRGB's curve writes as
    // 1.055 · 0.5 − 0.055.
    let rows = numbers(&values(
        &["--from", "bt1886", "--display", "srgb", "--output-transform", "none"],
        "0.5 0.5 0.5\n",
    ));
    assert!(rows[0].iter().all(|v| (v - 0.4725).abs() < 2e-6), "{rows:?}");
}

#[test]
fn a_show_and_a_look_act_on_values() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let mut show = greyhold::show::load(&show_dir).unwrap();
    show.shots[0].balance.values[BalanceField::Exposure as usize] = 1.0;
    greyhold::show::save(&show, &show_dir).unwrap();
    let name = show.shots[0].name.clone();
    // Framing moves pixels, not values.
    show.shots[0].framing.values = [1.0, 0.3, 0.2, 0.5];
    greyhold::show::save(&show, &show_dir).unwrap();
    // One stop more is twice the light.
    let plain = numbers(&values(&["--from", "acescg", "--to", "acescg"], "0.18 0.09 0.3\n"));
    let with = ["--from", "acescg", "--to", "acescg", "--show", path(&show_dir), "--shot", &name];
    let graded = numbers(&values(&with, "0.18 0.09 0.3\n"));
    for (a, b) in plain[0].iter().zip(&graded[0]) {
        assert!((b / a - 2.0).abs() < 1e-5, "{a} {b}");
    }
    let look = dir.path().join("look.toml");
    std::fs::write(
        &look,
        "version = 1\n[look]\nname = \"Firm\"\n[[stage]]\nstage = \"contrast\"\nslope = 2.0\n",
    )
    .unwrap();
    let firm = numbers(&values(
        &["--from", "acescct", "--to", "acescct", "--look", path(&look)],
        "0.5 0.45 0.4135884\n",
    ));
    let wanted = [0.5, 0.45, 0.413_588_4].map(|v: f64| 0.413_588_4 + 2.0 * (v - 0.413_588_4));
    for (a, b) in firm[0].iter().zip(wanted) {
        assert!((a - b).abs() < 2e-6, "{a} {b}");
    }
    let other = refused(&[
        "values",
        "--from",
        "acescg",
        "--to",
        "acescg",
        "--show",
        path(&show_dir),
        "--shot",
        "nope",
    ]);
    assert!(other.contains("nope") && other.contains(&name), "{other}");
}

#[test]
fn names_that_are_not_known_are_answered_with_those_that_are() {
    let said = refused(&["values", "--from", "logc9", "--to", "acescg"]);
    assert!(said.contains("logc9") && said.contains("logc4") && said.contains("v-log"), "{said}");
    let said = refused(&["values", "--from", "logc4", "--display", "wall-of-lamps"]);
    assert!(said.contains("rec709") && said.contains("srgb"), "{said}");
    let said = refused(&["open", "nowhere", "--panel", "x"]);
    assert!(said.contains("nowhere"), "{said}");
    assert!(fine(&["encodings"]).lines().count() > ENCODINGS.len() + DISPLAYS.len());
}

#[test]
fn every_command_teaches_with_an_example() {
    for command in [
        "demo",
        "new",
        "add",
        "media",
        "find",
        "cut",
        "balance",
        "open",
        "render",
        "values",
        "encodings",
        "bench",
        "panel",
    ] {
        let help = fine(&[command, "--help"]);
        assert!(
            help.contains("Example:") && help.contains(&format!("greyhold {command}")),
            "{command}: {help}"
        );
    }
    for command in ["ports", "watch", "learn", "draw"] {
        assert!(fine(&["panel", command, "--help"]).contains("Example:"));
    }
    for (command, parts) in
        [("look", &["save", "list", "copy"][..]), ("group", &["list", "add", "leave", "remove"])]
    {
        for part in parts {
            let help = fine(&[command, part, "--help"]);
            assert!(help.contains(&format!("greyhold {command} {part}")), "{help}");
        }
    }
}

#[test]
fn a_patch_is_made_neutral() {
    let dir = tempfile::tempdir().unwrap();
    let clip = dir.path().join("card");
    std::fs::create_dir_all(&clip).unwrap();
    // LogC4 codes of a grey card in warm light, of a red wall, and of the same card a stop brighter.
    let pixels = |n: usize| -> Vec<[u16; 3]> {
        let card = if n == 2 { [398, 361, 301] } else { [332, 296, 236] };
        (0..64 * 36).map(|i| if i % 64 < 16 { [700, 150, 120] } else { card }).collect()
    };
    for n in 0..3 {
        let pixels = pixels(n);
        let image = greyhold::media::Image::Codes { width: 64, height: 36, depth: 10, pixels: &pixels };
        let path = clip.join(format!("card.{n:04}.dpx"));
        greyhold::media::write_image(&path, greyhold::media::ImageFormat::Dpx, &image).unwrap();
    }
    let show_dir = dir.path().join("show");
    fine(&["new", path(&show_dir)]);
    fine(&["add", path(&show_dir), path(&clip), "--encoding", "logc4"]);
    let name = greyhold::show::load(&show_dir).unwrap().shots[0].name.clone();
    let balance = |more: &[&str]| {
        let mut arguments = vec!["balance", path(&show_dir), &name];
        arguments.extend(more);
        run(&arguments)
    };
    let said = balance(&["--neutral", "40,18"]);
    assert!(said.status.success(), "{}", text(&said.stderr));
    let said = text(&said.stdout);
    assert!(said.contains("9×9 pixels at 36,14 of frame 0") && said.contains("becomes white"), "{said}");
    let shot = |field: BalanceField| greyhold::show::load(&show_dir).unwrap().shots[0].balance.get(field);
    assert!(shot(BalanceField::Warmth) < -20.0 && shot(BalanceField::Exposure) == 0.0, "{said}");

    // What the program itself then says of the card's code values.
    let card = |n: usize| {
        let [r, g, b] = pixels(n)[40].map(|c| f64::from(c) / 1023.0);
        let with = ["--from", "logc4", "--to", "acescg", "--show", path(&show_dir), "--shot", &name];
        numbers(&values(&with, &format!("{r} {g} {b}\n"))).swap_remove(0)
    };
    let spread = |v: &[f64]| {
        let mean = v.iter().sum::<f64>() / 3.0;
        v.iter().map(|x| (x / mean - 1.0).abs()).fold(0.0, f64::max)
    };
    assert!(spread(&card(0)) < 1e-5, "{:?}", card(0));
    let bright = balance(&["--neutral", "40,18,3", "--frame", "2", "--stops", "-1"]);
    assert!(text(&bright.stdout).contains("exposure "), "{}", text(&bright.stderr));
    let card = card(2);
    assert!(spread(&card) < 1e-5 && card.iter().all(|v| (v / 0.09 - 1.0).abs() < 1e-5), "{card:?}");

    // Refusals name what is accepted, and leave the show alone.
    let before = std::fs::read_to_string(show_dir.join("show.toml")).unwrap();
    for (arguments, parts) in [
        (&["--neutral", "64,18"][..], &["64,18", "0,0 to 63,35"][..]),
        (&["--neutral", "40,18", "--frame", "3"], &["no frame 3", "0 to 2"]),
        (&["--neutral", "40"], &["\"40\"", "640,300"]),
        (&["--neutral", "40,18,0"], &["40,18,0", "640,300,25"]),
        (&[], &["--neutral"]),
        (&["--neutral", "5,18,3"], &["this patch", "accepted:"]),
    ] {
        let out = balance(arguments);
        assert_eq!(out.status.code(), Some(2), "{arguments:?}");
        let said = text(&out.stderr);
        assert!(parts.iter().all(|p| said.contains(p)), "{arguments:?}: {said}");
    }
    let said = refused(&["balance", path(&show_dir), "nope", "--neutral", "1,1"]);
    assert!(said.contains("nope") && said.contains(&name), "{said}");
    assert_eq!(std::fs::read_to_string(show_dir.join("show.toml")).unwrap(), before);
}

#[test]
fn clips_that_cannot_be_read_are_named_and_the_others_added() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let empty = dir.path().join("empty.mov");
    std::fs::write(&empty, "").unwrap();
    let again = dir.path().join("footage");
    let out =
        run(&["add", path(&show_dir), path(&empty), path(&again), "--encoding", "v-log", "--range", "full"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(
        text(&out.stderr).contains("empty.mov") && text(&out.stderr).contains("0 bytes"),
        "{}",
        text(&out.stderr)
    );
    let show = greyhold::show::load(&show_dir).unwrap();
    assert_eq!(show.shots.len(), 2);
    assert_ne!(show.shots[0].name, show.shots[1].name);
    assert_eq!(show.shots[1].encoding.id, "v-log");
    assert!(refused(&["new", path(&show_dir)]).contains("holds a show already"));
}

#[test]
fn render_writes_every_format_and_gpu_and_cpu_agree() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let name = greyhold::show::load(&show_dir).unwrap().shots[0].name.clone();
    for format in ["png", "tiff", "exr", "dpx"] {
        let mut pictures = Vec::new();
        for on in ["gpu", "cpu"] {
            let out = dir.path().join(format!("{format}-{on}"));
            let said = fine(&[
                "render",
                path(&show_dir),
                "--out",
                path(&out),
                "--format",
                format,
                "--on",
                on,
                "--frames",
                "2..5",
            ]);
            assert!(said.starts_with("4 frames written"), "{said}");
            let mut source = greyhold::media::open(&out.join(&name), &Default::default()).unwrap();
            assert_eq!((source.info().frames, source.info().first_number), (4, 2));
            pictures.push((0..4).map(|f| source.frame(f).unwrap()).collect::<Vec<_>>());
        }
        let acescg = greyhold::colour::encoding("acescg").unwrap();
        let read = greyhold::picture::Recipe::conversion(acescg, greyhold::picture::Tail::Encoding(acescg));
        for (a, b) in pictures[0].iter().zip(&pictures[1]) {
            let (a, b) = (greyhold::picture::cpu::signal(&read, a), greyhold::picture::cpu::signal(&read, b));
            let limit = match format {
                // Codes of the nearer side of a rounding.
                "dpx" => 1.01 / 1023.0,
                // Half floats: one step, relative.
                "exr" => 1.1 / 1024.0,
                _ => 3.0 / 65535.0,
            };
            for (p, q) in a.pixels.iter().flatten().zip(b.pixels.iter().flatten()) {
                let scale = if format == "exr" { q.abs().max(1e-3) } else { 1.0 };
                assert!((p - q).abs() <= limit * scale, "{format}: {p} {q}");
            }
        }
    }
    let said = refused(&["render", path(&show_dir), "--out", path(dir.path()), "--shots", "nope"]);
    assert!(said.contains("nope") && said.contains(&name), "{said}");
    assert!(
        refused(&["render", path(&show_dir), "--out", path(dir.path()), "--frames", "9..20"])
            .contains("none of the frames")
    );
}

/// Shots of two sizes give files of one, which hold what the CPU twin says. The raster is that of the first
/// clip that was added, what `new` was told, or, in a show that says nothing, that of the first shot's frames.
#[test]
fn shots_of_two_sizes_are_rendered_to_one() {
    use greyhold::picture::{Fitting, FramingField, cpu};
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let tall = sequence(&dir.path().join("tall"), (48, 64), 3);
    fine(&["add", path(&show_dir), path(&tall), "--encoding", "v-log"]);
    let mut show = greyhold::show::load(&show_dir).unwrap();
    assert_eq!(show.raster, Some((96, 54)), "that of the clip that was added first");
    let framing = show.shots[1].framing.fitted(Fitting::Fill);
    show.shots[1].framing = framing.with(FramingField::Scale, 1.3).with(FramingField::PanY, 0.1);
    let render = |show: &greyhold::show::Show, out: &str, on: &str, size: (u32, u32)| {
        greyhold::show::save(show, &show_dir).unwrap();
        let out = dir.path().join(out);
        let said = fine(&["render", path(&show_dir), "--out", path(&out), "--frames", "1..2", "--on", on]);
        assert!(said.starts_with("4 frames written"), "{said}");
        let mut all = Vec::new();
        for (i, shot) in show.shots.iter().enumerate() {
            let mut files = greyhold::media::open(&out.join(&shot.name), &Default::default()).unwrap();
            let info = files.info();
            assert_eq!((info.width, info.height), size, "{}", shot.name);
            let mut source =
                greyhold::media::open(&shot.source_path(&show_dir), &Default::default()).unwrap();
            for number in 1..=2 {
                let tail = show.tail(greyhold::show::Output::Files);
                let mut recipe = greyhold::show::recipe(show, i, tail, number).unwrap();
                recipe.raster = Some(size);
                let wanted = cpu::codes(&recipe, &source.frame(number.into()).unwrap(), 16, false).pixels;
                let written = files.frame(u64::from(number) - 1).unwrap();
                let codes = |plane: usize| written.planes[plane].data.as_chunks::<2>().0;
                for (p, pixel) in wanted.iter().enumerate() {
                    for c in 0..3 {
                        let code = u16::from_le_bytes(codes(c)[p]);
                        assert!(code.abs_diff(pixel[c]) <= 3, "{} {p}: {code} {pixel:?}", shot.name);
                    }
                }
                all.push(wanted);
            }
        }
        all
    };
    let own = render(&show, "own", "gpu", (96, 54));
    render(&show, "cpu", "cpu", (96, 54));
    // Nothing of the second is black: it fills the raster.
    assert!(own[2].iter().all(|p| *p != [0; 3]));
    show.raster = None;
    assert_eq!(render(&show, "first", "gpu", (96, 54)), own);
    show.raster = Some((50, 50));
    let square = render(&show, "square", "gpu", (50, 50));
    // 96 × 54 in 50 × 50: bars of 10 or 11 rows.
    let black = square[0].chunks(50).map(|row| row.iter().all(|p| *p == [0; 3])).collect::<Vec<_>>();
    assert_eq!(black, (0..50).map(|y| !(11..39).contains(&y)).collect::<Vec<_>>());
    show.shots.swap(0, 1);
    show.raster = None;
    render(&show, "swapped", "gpu", (48, 64));

    // A show without a raster, whose first shot is not there, says what it lacks.
    std::fs::rename(dir.path().join("tall"), dir.path().join("elsewhere")).unwrap();
    let name = show.shots[1].name.clone();
    let out = dir.path().join("nothing");
    let said = refused(&["render", path(&show_dir), "--out", path(&out), "--shots", &name]);
    assert!(said.contains("the show has no raster") && said.contains("tall"), "{said}");
    let new = dir.path().join("new");
    fine(&["new", path(&new), "--raster", "1998x1080"]);
    assert_eq!(greyhold::show::load(&new).unwrap().raster, Some((1998, 1080)));
    fine(&["add", path(&new), path(&dir.path().join("footage")), "--encoding", "logc4"]);
    assert_eq!(greyhold::show::load(&new).unwrap().raster, Some((1998, 1080)), "that stays");
    assert!(refused(&["new", path(&new), "--raster", "1998"]).contains("1920x1080"));
}

/// Without any adapter there is a message that names the package that brings one, and the CPU still works.
#[test]
fn without_a_gpu_the_cpu_still_works() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let without = |arguments: &[&str]| {
        let nothing = dir.path().join("no-driver.json");
        greyhold()
            .args(arguments)
            .env("VK_DRIVER_FILES", &nothing)
            .env("VK_ICD_FILENAMES", &nothing)
            .stdin(Stdio::null())
            .output()
            .unwrap()
    };
    let out = dir.path().join("out");
    let gpu = without(&["render", path(&show_dir), "--out", path(&out)]);
    assert_eq!(gpu.status.code(), Some(2));
    let said = text(&gpu.stderr);
    assert!(said.contains("no GPU adapter") && said.contains("mesa-vulkan-drivers"), "{said}");
    assert!(!out.exists(), "nothing was begun");
    let cpu = without(&["render", path(&show_dir), "--out", path(&out), "--on", "cpu", "--frames", "0..0"]);
    assert!(cpu.status.success(), "{}", text(&cpu.stderr));
    assert!(without(&["values", "--from", "logc4", "--to", "acescg", "--on", "cpu"]).status.success());
}

#[test]
fn without_a_display_the_desk_says_what_it_needs() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let out = greyhold()
        .args(["open", path(&show_dir)])
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env_remove("WAYLAND_SOCKET")
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(2));
    let said = text(&out.stderr);
    assert!(said.contains("DISPLAY") && said.contains("greyhold render"), "{said}");
}

#[test]
fn a_show_that_is_open_elsewhere_is_not_opened_twice() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let lock = greyhold::show::Lock::take(&show_dir).unwrap();
    let clip = dir.path().join("footage");
    let said = refused(&["add", path(&show_dir), path(&clip), "--encoding", "v-log"]);
    assert!(said.contains("open in another Greyhold"), "{said}");
    drop(lock);
    fine(&["add", path(&show_dir), path(&clip), "--encoding", "v-log"]);
}

#[test]
fn bench_measures_every_pass_beside_a_copy() {
    let said = fine(&["bench", "--json", "--rounds", "2", "--sizes", "64x36"]);
    let report: serde_json::Value = serde_json::from_str(&said).unwrap();
    let passes = report["passes"].as_array().unwrap();
    // Seventeen paths, one look, and a picture alone, with scopes and with marks.
    assert_eq!(passes.len(), 21 + greyhold::look::STAGES.len());
    assert!(passes.iter().all(|p| p["median_ms"].as_f64().unwrap() > 0.0));
    // One look of those that ship.
    let named =
        |part: &str| passes.iter().filter(|p| p["pass"].as_str().unwrap().contains(part)).collect::<Vec<_>>();
    let look = named(": the look ");
    let name = look[0]["pass"].as_str().unwrap();
    assert!(look.len() == 1 && shipped_looks().iter().any(|l| name.contains(&l.name)), "{name}");
}

/// A show's own displays are known wherever the show is in play; `--output` brings trim and calibration along.
#[test]
fn a_shows_own_displays_and_outputs_are_known() {
    let dir = tempfile::tempdir().unwrap();
    let show_dir = show(dir.path());
    let file = show_dir.join("show.toml");
    let swap = "0 0 0\n0 0 1\n0 1 0\n0 1 1\n1 0 0\n1 0 1\n1 1 0\n1 1 1\n";
    std::fs::write(show_dir.join("swap.cube"), format!("LUT_3D_SIZE 2\n{swap}")).unwrap();
    let text = std::fs::read_to_string(&file).unwrap().replace("client = \"rec709\"\n", "");
    let more = "[outputs.client]\ndisplay = \"suite\"\ncalibration = \"swap.cube\"\n[outputs.client.trim]\nexposure = 1.0\n\
                [display.suite]\npeak = 100\nprimaries = \"bt709\"\ntransfer = \"gamma 2.2\"\n";
    std::fs::write(&file, format!("{text}\n{more}")).unwrap();

    assert!(fine(&["displays", path(&show_dir)]).contains("  suite "));
    let all = fine(&["displays"]);
    assert!(!all.contains("suite") && all.contains("rec2100-pq-1000-p3-d60"));
    for d in DISPLAYS {
        assert!(all.contains(&*d.id) && all.contains(&*d.source), "{}", d.id);
    }
    let grey = "0.25 0.3 0.2\n";
    let by = |arguments: &[&str]| {
        numbers(&values(&[&["--from", "acescg", "--show", path(&show_dir)], arguments].concat(), grey))[0]
            .clone()
    };
    let none = ["--output-transform", "none"];
    let linear = by(&["--to", "acescg"]);
    let own = by(&[&["--display", "suite"][..], &none].concat());
    let on_gpu = by(&[&["--display", "suite", "--on", "gpu"][..], &none].concat());
    assert!(own.iter().zip(&on_gpu).all(|(c, g)| (c - g).abs() < 2e-6), "{own:?} {on_gpu:?}");
    // Gamma 2.2 against the 2.4 of the display that has the same primaries.
    let other = by(&[&["--display", "rec709"][..], &none].concat());
    for (own, other) in own.iter().zip(&other) {
        assert!((own.powf(2.2) - other.powf(2.4)).abs() < 1e-6, "{own} {other}");
    }
    assert!((linear[0] - 0.25).abs() < 1e-6);
    // A stop more, and red for blue.
    let twice = numbers(&values(
        &["--from", "acescg", "--show", path(&show_dir), "--display", "suite"],
        "0.5 0.6 0.4\n",
    ));
    let output = by(&["--output", "client"]);
    for c in 0..3 {
        assert!((output[c] - twice[0][2 - c]).abs() < 2e-6, "{output:?} {twice:?}");
    }
    let said = refused(&["values", "--from", "acescg", "--show", path(&show_dir), "--display", "lamp"]);
    assert!(said.contains("lamp") && said.contains("suite") && said.contains("rec709-d60"), "{said}");
    let said = refused(&["values", "--from", "acescg", "--display", "suite"]);
    assert!(said.contains("with --show a show's own"), "{said}");
    let said = refused(&["values", "--from", "acescg", "--output", "client"]);
    assert!(said.contains("--show"), "{said}");

    let render = |name: &str, arguments: &[&str]| {
        let out = dir.path().join(name);
        fine(
            &[&["render", path(&show_dir), "--out", path(&out), "--frames", "0", "--on", "cpu"], arguments]
                .concat(),
        );
        let shot = greyhold::show::load(&show_dir).unwrap().shots[0].name.clone();
        let mut files = greyhold::media::open(&out.join(shot), &Default::default()).unwrap();
        files.frame(0).unwrap()
    };
    let (client, own) = (render("client", &["--output", "client"]), render("own", &["--display", "suite"]));
    let same = |a: usize, b: usize| client.planes[a].data[..] == own.planes[b].data[..];
    assert!(!same(0, 2) && !same(0, 0), "trimmed and calibrated");
    let loaded = greyhold::show::load(&show_dir).unwrap();
    let tail = loaded.tail(greyhold::show::Output::Client);
    let mut recipe = greyhold::show::recipe(&loaded, 0, tail, 0).unwrap();
    recipe.raster = Some((96, 54));
    let mut source =
        greyhold::media::open(&loaded.shots[0].source_path(&show_dir), &Default::default()).unwrap();
    let wanted = greyhold::picture::cpu::codes(&recipe, &source.frame(0).unwrap(), 16, false).pixels;
    for (p, pixel) in wanted.iter().enumerate() {
        for c in 0..3 {
            let code = u16::from_le_bytes(client.planes[c].data.as_chunks::<2>().0[p]);
            assert_eq!(code, pixel[c], "{p}");
        }
    }
    let said = refused(&["render", path(&show_dir), "--out", "x", "--display", "wall-of-lamps"]);
    assert!(said.contains("rec709") && said.contains("suite"), "{said}");
}
