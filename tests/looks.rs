//! The looks that come along: what their files and configs/looks/README.md say of them is what the check says.
//!
//! `UPDATE=1 cargo test --release --features jack --test looks` writes both anew.

use std::fmt::Write;

use greyhold::check::{Limits, PATCHES, Rendering, Report, Subject, Verdict, check, rows};
use greyhold::colour::{acescct_encode, delta_e_itp};
use greyhold::show::{LOOK_FILES, Look, shipped_looks, write_look};

const STRENGTHS: [f64; 4] = [0.25, 0.5, 0.75, 1.0];

/// The looks with the names of their files and their reports at all strengths.
fn checked() -> Vec<(&'static str, &'static Look, [Report; 4])> {
    let limits = Limits::shipped();
    assert_eq!(LOOK_FILES.len(), shipped_looks().len());
    LOOK_FILES
        .iter()
        .zip(shipped_looks())
        .map(|((file, _), look)| {
            let subject = Subject::of_stages(look.name.clone(), &look.stages, look.intent);
            (*file, look, STRENGTHS.map(|s| check(&subject, s, &limits)))
        })
        .collect()
}

fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fail => " FAILS",
        Verdict::Advice => " *",
        Verdict::Pass | Verdict::Told => "",
    }
}

/// The values of a row at all strengths, with a dash where it is not measured.
fn cells(reports: &[Report; 4], key: &str) -> [String; 4] {
    std::array::from_fn(|i| {
        reports[i].row(key).map_or("–".to_owned(), |r| format!("{}{}", r.shown(), mark(r.verdict)))
    })
}

fn verdict(report: &Report) -> String {
    match report.failures().map(|r| r.declared.key).collect::<Vec<_>>() {
        failed if failed.is_empty() => "sound".into(),
        failed => format!("FAILS {}", failed.join(", ")),
    }
}

/// What a look's file says in its comments: the verdicts, and what most people ask.
fn comment(reports: &[Report; 4]) -> String {
    let mut out = String::from("# Check\n");
    let mut line = |name: &str, cells: [String; 4]| {
        let text = format!("# {name:38}{}", cells.map(|c| format!("{c:>15}")).join(""));
        writeln!(out, "{}", text.trim_end()).unwrap();
    };
    line("strength", STRENGTHS.map(|s| s.to_string()));
    line("verdict", std::array::from_fn(|i| verdict(&reports[i])));
    for key in ["grey-shift", "toning-most", "slope-grey", "skin-drift", "clip-excess", "noise-gain-neutral"]
    {
        let name = rows().find(|d| d.key == key).unwrap().name;
        line(name, cells(reports, key));
    }
    out
}

const HEAD: &str = "# The looks that come along

Ten looks in `configs/looks`, each after a photochemical process and made of stages alone. All of it that is a function of a
colour is checked (`greyhold check NAME`); texture is not, and is named. A look's numbers can be read, changed and saved under another
name, and a look of your own may cite one of these and change only its strengths (`based-on`).

`tests/looks.rs` writes this page and fails when the check says something else. Limits stand in `configs/check.toml`, with their
reasons; those of a look's intent are shown. A dash: not measured, there being no hue to measure. A star: past a limit that only
advises, of how exactly a LUT holds the look. No limit: told, not judged.

![The ten looks on three shots of the demo, as greyhold sheet draws them](../../.readme/looks.jpg)
";

fn page(looks: &[(&str, &Look, [Report; 4])]) -> String {
    let mut out = HEAD.to_owned();
    for (file, look, reports) in looks {
        writeln!(out, "\n## {}\n\n{}\n", look.name, look.note).unwrap();
        let says = look.intent.map_or(String::new(), |i| format!(", intent `{}`", i.id()));
        let stages: Vec<_> = look.stages.iter().map(|s| s.declaration().key).collect();
        writeln!(out, "`configs/looks/{file}`{says}: {}.", stages.join(", ")).unwrap();
        for note in reports[3].notes.iter().filter(|n| n.contains("texture")) {
            writeln!(out, "{note}.").unwrap();
        }
        writeln!(out, "\n| | | limit | 0.25 | 0.5 | 0.75 | 1 |\n|---|---|---|---|---|---|---|").unwrap();
        for declared in rows() {
            if reports.iter().all(|r| r.row(declared.key).is_none()) {
                continue;
            }
            let row = reports[3].row(declared.key);
            let limit = row.and_then(|r| r.limit.as_ref()).map_or(String::new(), |l| l.text());
            let values = cells(reports, declared.key).join(" | ");
            writeln!(out, "| {} | {} | {limit} | {values} |", declared.measure, declared.name).unwrap();
        }
        let verdicts: Vec<_> = reports.iter().map(verdict).collect();
        writeln!(out, "| | verdict | | {} |", verdicts.join(" | ")).unwrap();
    }
    out
}

/// Do two texts say the same, numbers to one of their last digit? Another machine's logarithms may round another way.
fn same(a: &str, b: &str) -> bool {
    let number = |word: &str| {
        let bare = word.trim_end_matches(['°', '%', ',']);
        let digits = bare.split_once('.').map_or(0, |(_, after)| after.len() as i32);
        bare.parse::<f64>().ok().map(|v| (v, digits))
    };
    let (a, b): (Vec<_>, Vec<_>) = (a.split_whitespace().collect(), b.split_whitespace().collect());
    a.len() == b.len()
        && a.iter().zip(&b).all(|(x, y)| match (number(x), number(y)) {
            (Some((v, d)), Some((w, e))) => {
                d == e && (v - w).abs() < 1.5 * 10f64.powi(-d) && (d > 0 || v == w)
            }
            _ => x == y,
        })
}

#[test]
fn a_number_that_differs_is_seen() {
    assert!(same("a 1.25 4.1°", "a  1.26 4.1°"));
    assert!(!same("1.25", "1.27") && !same("1 FAILS", "1") && !same("3", "4") && !same("4.1°", "4.3°"));
}

/// All are sound at every strength, and their files and the page say what the check says.
#[test]
fn what_is_said_of_them_is_so() {
    let looks = checked();
    let update = std::env::var_os("UPDATE").is_some();
    let mut stale = Vec::new();
    for (file, look, reports) in &looks {
        for report in reports {
            assert!(report.passes, "{} at {}: {}", look.name, report.strength, verdict(report));
        }
        let path = format!("configs/looks/{file}");
        let text = std::fs::read_to_string(&path).unwrap();
        let start = text.find("# Check\n").unwrap_or_else(|| panic!("{path} has no check in its comments"));
        let end = start + text[start..].find("\n\n").unwrap() + 1;
        let said = comment(reports);
        // As the program writes it, with the check between its first line and the rest.
        let whole = write_look(look).replacen("version", &format!("#\n{said}\nversion"), 1);
        if !same(&text[start..end], &said) || text.len() != whole.len() {
            stale.push(path.clone());
            if update {
                std::fs::write(&path, whole).unwrap();
            }
        }
    }
    let page = page(&looks);
    let there = std::fs::read_to_string("configs/looks/README.md").unwrap_or_default();
    if !same(&there, &page) {
        stale.push("configs/looks/README.md".into());
        if update {
            std::fs::write("configs/looks/README.md", page).unwrap();
        }
    }
    assert!(update || stale.is_empty(), "UPDATE=1 writes anew: {stale:?}");
}

/// Each says what it is and what it does to skin, and none reads a table.
#[test]
fn each_says_what_it_is_for() {
    assert_eq!(shipped_looks().len(), 10);
    for look in shipped_looks() {
        assert!(look.note.contains("Skin ") && look.note.len() > 80, "{}: {}", look.name, look.note);
        assert!(look.stages.iter().all(|s| !s.declaration().table), "{} has a table", look.name);
    }
}

/// No two of them look alike: over the ColorChecker at −2, 0 and +2 stops they lie further apart in the mean than is
/// visible at all (ΔE_ITP 1, ITU-R BT.2124), and each as far from no look. The factor of 3 is this project's own.
#[test]
fn they_differ() {
    let t = Rendering::fixed();
    let seen = |look: Option<&Look>| -> Vec<[f64; 3]> {
        let f = look.map(|l| Subject::of_stages(l.name.clone(), &l.stages, l.intent).at(1.0));
        let colours = [-2.0, 0.0, 2.0]
            .into_iter()
            .flat_map(|s| PATCHES.map(|p| p.map(|v| acescct_encode(v * f64::exp2(s)))));
        colours.map(|x| t.see(f.as_ref().map_or(x, |f| f(x))).ictcp).collect()
    };
    let mut all = vec![("no look", seen(None))];
    all.extend(shipped_looks().iter().map(|l| (l.name.as_str(), seen(Some(l)))));
    let mut near = Vec::new();
    for (i, (a, x)) in all.iter().enumerate() {
        for (b, y) in &all[i + 1..] {
            let mean = x.iter().zip(y).map(|(x, y)| delta_e_itp(*x, *y)).sum::<f64>() / x.len() as f64;
            near.push((mean, *a, *b));
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    println!("the nearest: {:?}", &near[..5]);
    assert!(near[0].0 > 3.0, "{:?}", near[0]);
}
