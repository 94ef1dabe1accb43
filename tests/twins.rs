//! Every stage exists twice under one name, and every shader that can be put together is valid.

use std::collections::BTreeSet;

use greyhold::colour::{Aces2, OUTPUT_TRANSFORMS, OutputTransform};
use greyhold::gpu::{Assembly, MarkPasses};
use greyhold::look::{Kind, STAGES};
use greyhold::picture::{Ending, Layout, Source, Structure, Target};

fn stems(dir: &str, extension: &str) -> BTreeSet<String> {
    std::fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == extension))
        .map(|p| p.file_stem().unwrap().to_string_lossy().into_owned())
        .collect()
}

#[test]
fn stages_rust_files_and_wgsl_files_are_the_same_set() {
    let declared: BTreeSet<_> = STAGES.iter().map(|d| d.function()).collect();
    assert_eq!(declared.len(), STAGES.len(), "two stages share a key");
    let mut rust = stems("src/look", "rs");
    for support in ["mod", "chain", "declaration", "intent", "kernel", "named_lut", "origin", "spot", "typed"]
    {
        assert!(rust.remove(support));
    }
    assert_eq!(rust, declared);
    assert_eq!(stems("shaders/look", "wgsl"), declared);
}

#[test]
fn every_other_shader_has_a_rust_file_of_its_name() {
    for room in ["colour", "picture"] {
        let shaders = stems(&format!("shaders/{room}"), "wgsl");
        assert!(!shaders.is_empty());
        let rust = stems(&format!("src/{room}"), "rs");
        assert!(shaders.is_subset(&rust), "{room}: {:?} have no twin", shaders.difference(&rust));
    }
}

#[test]
fn declarations_are_sound() {
    for d in STAGES {
        let mut keys = BTreeSet::new();
        for p in d.parameters {
            assert!(keys.insert(p.key), "{}: two parameters are called {}", d.key, p.key);
            assert!(
                p.key != "strength" && p.key != "stage" && p.key != "on",
                "{}: {} is taken",
                d.key,
                p.key
            );
            assert!(p.min < p.max && (p.min..=p.max).contains(&p.default), "{}/{}", d.key, p.key);
            assert!(p.step > 0.0 && p.step < p.max - p.min, "{}/{}: step", d.key, p.key);
            assert!(!p.doc.trim().is_empty(), "{}/{}: no doc", d.key, p.key);
            assert!((p.at(p.position(p.default)) - p.default).abs() < 1e-12);
            assert_eq!((p.at(0.0), p.at(1.0)), (p.min, p.max));
        }
        assert_eq!(d.prepared(&d.defaults(), None).len() + 1, d.storage_len(), "{}", d.key);
    }
}

fn validate(assembly: &Assembly) -> naga::Module {
    let module = naga::front::wgsl::parse_str(&assembly.text).unwrap_or_else(|e| {
        let line = e.location(&assembly.text).map_or(0, |l| l.line_number as usize);
        panic!("{:?}: {}", assembly.locate(line), e.emit_to_string(&assembly.text))
    });
    // Half floats unpacked into floats are the one capability that wgpu grants without being asked.
    let granted = naga::valid::Capabilities::SHADER_FLOAT16_IN_FLOAT32;
    naga::valid::Validator::new(naga::valid::ValidationFlags::all(), granted)
        .validate(&module)
        .unwrap_or_else(|e| panic!("{}", e.emit_to_string(&assembly.text)));
    module
}

fn span(module: &naga::Module, name: &str) -> u32 {
    let (_, ty) = module
        .types
        .iter()
        .find(|(_, t)| t.name.as_deref() == Some(name))
        .unwrap_or_else(|| panic!("no struct {name}"));
    match ty.inner {
        naga::TypeInner::Struct { span, .. } => span,
        _ => panic!("{name} is no struct"),
    }
}

#[test]
fn every_structure_gives_a_valid_shader() {
    let (spread, all): (Vec<Kind>, Vec<Kind>) =
        (0..STAGES.len()).map(Kind).partition(|k| k.declaration().neighbourhood.is_some());
    let mut chains: Vec<Vec<Kind>> = vec![vec![], all.clone(), all.iter().rev().copied().collect()];
    chains.extend(all.iter().map(|k| vec![*k]));
    chains.push(all.iter().chain(&all).copied().collect());
    let transforms = OUTPUT_TRANSFORMS.iter().copied().chain([OutputTransform::Lut]);
    let displays = transforms.map(Ending::Display);
    let endings: Vec<Ending> = displays.chain([Ending::Encoding, Ending::Light]).collect();
    let mut count = 0;
    for source in [Source::Frame, Source::Signal, Source::Light] {
        for &ending in &endings {
            for target in [Target::Float, Target::Half, Target::Codes, Target::Screen, Target::DeepScreen] {
                // A stage that reads its neighbours begins a part.
                let parts = spread.iter().flat_map(|k| [vec![*k], [&[*k], &all[..]].concat()]);
                let parts: Vec<_> = parts.filter(|_| source == Source::Light).collect();
                for stages in chains.iter().chain(&parts) {
                    // Chains are many; where they begin and end is the same text for all of them.
                    if stages.len() == 1 && (source != Source::Frame || target != Target::Float) {
                        continue;
                    }
                    for undone in [None, Some(OutputTransform::Plain), Some(OutputTransform::Aces2)] {
                        if undone.is_some() && (stages.len() == 1 || source == Source::Light) {
                            continue;
                        }
                        let calibrations: &[bool] =
                            if matches!(ending, Ending::Display(_)) { &[false, true] } else { &[false] };
                        for &calibrated in calibrations {
                            let (graded, stages) = (count % 3 != 0, stages.clone());
                            let structure =
                                Structure { source, undone, graded, stages, ending, calibrated, target };
                            validate(&Assembly::picture(&structure));
                            count += 1;
                        }
                    }
                }
            }
        }
    }
    assert!(count >= 120 * 2 * 4, "{count}");
    for kind in spread {
        for target in [Target::Float, Target::Half] {
            Assembly::spread(kind, target).iter().for_each(|a| drop(validate(a)));
        }
    }
    [false, true].iter().for_each(|deep| drop(validate(&MarkPasses::assembly(*deep))));
    validate(&Assembly::single("pass/blit.wgsl", include_str!("../shaders/pass/blit.wgsl")));
}

/// The uniform buffer is written in Rust and read by WGSL structs: their sizes agree.
#[test]
fn uniform_layout_is_what_the_structs_say() {
    let (spread, stages): (Vec<Kind>, Vec<Kind>) =
        (0..STAGES.len()).map(Kind).partition(|k| k.declaration().neighbourhood.is_some());
    let ending = Ending::Display(OutputTransform::Aces2);
    let structure = Structure {
        source: Source::Frame,
        undone: Some(OutputTransform::Aces2),
        graded: true,
        stages,
        ending,
        calibrated: true,
        target: Target::Float,
    };
    let module = validate(&Assembly::picture(&structure));
    assert_eq!(span(&module, "Table"), 4 * 16);
    let by_lut = Structure { ending: Ending::Display(OutputTransform::Lut), ..structure };
    let other = validate(&Assembly::picture(&by_lut));
    assert_eq!(span(&other, "ShowLut"), 4 * Layout::SHOW_LUT as u32);
    assert_eq!(span(&module, "Aces2"), 4 * Aces2::UNIFORM as u32);
    assert_eq!(span(&module, "Aces2Inverse"), 4 * Aces2::INVERSE_UNIFORM as u32);
    assert_eq!(span(&module, "Head"), 4 * Layout::HEAD as u32);
    for d in STAGES.iter().filter(|d| d.neighbourhood.is_none()) {
        assert_eq!(span(&module, d.struct_name), 4 * d.storage_len() as u32, "{}", d.key);
    }
    for kind in spread {
        let part = Structure { source: Source::Light, undone: None, stages: vec![kind], ..by_lut.clone() };
        let d = kind.declaration();
        let size = span(&validate(&Assembly::picture(&part)), d.struct_name);
        assert_eq!(size, 4 * d.storage_len() as u32, "{}", d.key);
    }
}

#[test]
fn a_line_of_the_whole_is_found_in_its_file() {
    let structure = Structure {
        source: Source::Frame,
        undone: None,
        graded: true,
        stages: vec![Kind(0)],
        ending: Ending::Encoding,
        calibrated: false,
        target: Target::Float,
    };
    let assembly = Assembly::picture(&structure);
    let line = 1 + assembly.text.lines().position(|l| l.starts_with("fn tone_scale_one")).unwrap();
    let (file, at) = assembly.locate(line);
    assert_eq!(file, "colour/tone.wgsl");
    let text = include_str!("../shaders/colour/tone.wgsl");
    assert!(text.lines().nth(at - 1).unwrap().starts_with("fn tone_scale_one"));
}
