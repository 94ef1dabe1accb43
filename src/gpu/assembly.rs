//! Puts a shader together from files, and finds the file and line of an error in it.

use crate::colour::OutputTransform;
use crate::look::{Domain, Kind, MAX_LUTS};
use crate::picture::{Ending, Source, Structure, Target};

macro_rules! shader {
    ($path:literal) => {
        ($path, include_str!(concat!("../../shaders/", $path)))
    };
}

const FIXED: &[(&str, &str)] = &[
    shader!("colour/real.wgsl"),
    shader!("colour/matrix.wgsl"),
    shader!("colour/cdl.wgsl"),
    shader!("colour/curve.wgsl"),
    shader!("colour/tone.wgsl"),
    shader!("colour/lut.wgsl"),
    shader!("picture/trim.wgsl"),
    shader!("picture/balance.wgsl"),
    shader!("pass/bindings.wgsl"),
    shader!("picture/unpack.wgsl"),
    shader!("picture/framing.wgsl"),
    shader!("picture/dither.wgsl"),
    shader!("pass/half.wgsl"),
    shader!("pass/head.wgsl"),
];

/// What structures have that read an earlier pass's picture.
const PICTURE: &[(&str, &str)] = &[shader!("pass/picture.wgsl")];

/// What structures have that begin with a stage that reads its neighbours, and what its other passes are made of.
const SPREAD: &[(&str, &str)] = &[shader!("pass/spread.wgsl"), shader!("pass/spread_between.wgsl")];

/// What only structures with the ACES 2.0 output transform or its inverse need.
const ACES2: &[(&str, &str)] = &[shader!("pass/tables.wgsl"), shader!("colour/aces2.wgsl")];

/// What only structures with the show's own table need.
const SHOW_LUT: &[(&str, &str)] = &[shader!("picture/show_lut.wgsl")];
/// What only structures need that take display-referred footage back through it.
const ACES2_INVERSE: &[(&str, &str)] = &[shader!("colour/aces2_inverse.wgsl")];

/// Invocations of a workgroup, across and down.
pub const WORKGROUP: (u32, u32) = (8, 8);

/// A shader's text, and which file each of its lines came from.
#[derive(Clone, Debug)]
pub struct Assembly {
    /// The whole text.
    pub text: String,
    parts: Vec<(String, usize)>,
}

impl Assembly {
    /// The picture pass for a structure.
    pub fn picture(structure: &Structure) -> Self {
        Self::picture_with(structure, &|kind| kind.declaration().wgsl)
    }

    /// The same with other texts for the stages: for the test that a wrong twin is found.
    pub fn picture_with(structure: &Structure, stage_text: &dyn Fn(Kind) -> &'static str) -> Self {
        let mut assembly = Self { text: String::new(), parts: Vec::new() };
        for (name, text) in FIXED {
            assembly.add(name, text);
        }
        let mut sources: Vec<(&str, &str)> = Vec::new();
        if structure.source != Source::Frame {
            sources.extend(PICTURE);
        }
        if structure.spread().is_some() {
            sources.push(("pass/spread (binding)", SPREAD_PICTURE));
            sources.extend(SPREAD);
        }
        let tables = if structure.has_tables() { ACES2 } else { &[] };
        let by_lut = structure.ending == Ending::Display(OutputTransform::Lut);
        let show_lut = if by_lut { SHOW_LUT } else { &[] };
        for (name, text) in sources.iter().chain(tables).chain(show_lut) {
            assembly.add(name, text);
        }
        if structure.undone == Some(OutputTransform::Aces2) {
            for (name, text) in ACES2_INVERSE {
                assembly.add(name, text);
            }
        }
        let mut kinds = structure.stages.clone();
        kinds.sort_unstable();
        kinds.dedup();
        for kind in kinds {
            let d = kind.declaration();
            assembly.add(&format!("{} (struct made from its declaration)", d.key), &d.wgsl_struct());
            assembly.add(&format!("look/{}.wgsl", d.function()), stage_text(kind));
        }
        assembly.add("the pass (made from its structure)", &main_text(structure));
        assembly
    }

    /// The passes of a stage that reads its neighbours, for pictures that are kept as `target` says: to the first level,
    /// down, a ring, the small levels, and up.
    pub fn spread(kind: Kind, target: Target) -> [Self; 5] {
        let format = if target == Target::Half { "rgba16float" } else { "rgba32float" };
        let d = kind.declaration();
        let rounded = target == Target::Half;
        let whole = |parts: &[(&str, &str)], call: &str| {
            let mut assembly = Self::of(parts);
            assembly.add("the store", &spread_store(format, rounded));
            if !call.is_empty() {
                assembly.add("the pass", &spread_main(call));
            }
            assembly
        };
        let real = shader!("colour/real.wgsl");
        let half = shader!("pass/half.wgsl");
        let down = shader!("pass/spread_down.wgsl");
        let numbers = format!("@group(0) @binding(3) var<uniform> p: {};\n", d.struct_name);
        let function = d.function();
        let source = format!(
            "fn spread_source(v: vec3<f32>) -> vec3<f32> {{\n    return {function}_source(p, v);\n}}\n"
        );
        let of_source = [
            real,
            half,
            SPREAD[0],
            ("struct made from its declaration", &d.wgsl_struct()),
            ("look", d.wgsl),
            ("numbers", &numbers),
            down,
            ("source", &source),
        ];
        let same = ("source", "fn spread_source(v: vec3<f32>) -> vec3<f32> {\n    return v;\n}\n");
        [
            whole(&of_source, ""),
            whole(&[half, down, same], ""),
            whole(&[half, shader!("pass/spread_ring.wgsl")], "spread_ring(vec2<i32>(id.xy))"),
            whole(&[half, shader!("pass/spread_tail.wgsl")], ""),
            whole(&[half, shader!("pass/spread_up.wgsl"), SPREAD[1]], "spread_up(vec2<i32>(id.xy))"),
        ]
    }

    /// A shader that is one file.
    pub fn single(name: &str, text: &str) -> Self {
        let mut assembly = Self { text: String::new(), parts: Vec::new() };
        assembly.add(name, text);
        assembly
    }

    /// Files one after the other, named.
    pub fn of(files: &[(&str, &str)]) -> Self {
        let mut assembly = Self { text: String::new(), parts: Vec::new() };
        for (name, text) in files {
            assembly.add(name, text);
        }
        assembly
    }

    fn add(&mut self, name: &str, text: &str) {
        self.parts.push((name.to_owned(), self.text.lines().count() + 1));
        self.text += text;
        if !self.text.ends_with('\n') {
            self.text.push('\n');
        }
    }

    /// File and line, from 1, of a line of the whole text.
    pub fn locate(&self, line: usize) -> (&str, usize) {
        self.parts
            .iter()
            .rev()
            .find(|(_, start)| *start <= line)
            .map_or(("", line), |(name, start)| (name.as_str(), line - start + 1))
    }
}

/// What a part that begins with a stage that reads its neighbours is given of it.
const SPREAD_PICTURE: &str = "@group(0) @binding(1) var spread_picture: texture_2d<f32>;\n";

fn spread_store(format: &str, rounded: bool) -> String {
    let value = if rounded { "nearest_halves(v)" } else { "v" };
    format!(
        "@group(0) @binding(4) var target_picture: texture_storage_2d<{format}, write>;\n\n\
         fn store_spread(at: vec2<i32>, v: vec3<f32>) {{\n    \
         textureStore(target_picture, at, vec4({value}, 1.0));\n}}\n"
    )
}

fn spread_main(call: &str) -> String {
    let (wx, wy) = WORKGROUP;
    format!(
        "@compute @workgroup_size({wx}, {wy})\n\
         fn main(@builtin(global_invocation_id) id: vec3<u32>) {{\n    \
         if all(id.xy < textureDimensions(target_picture)) {{\n        \
         store_spread(vec2<i32>(id.xy), {call});\n    }}\n}}\n"
    )
}

fn main_text(structure: &Structure) -> String {
    let mut fields = String::from("    @align(16) head: Head,\n");
    if structure.undone.is_some() {
        fields += "    @align(16) undone_tone: ToneScale,\n";
    }
    if structure.undone == Some(OutputTransform::Aces2) {
        fields += "    @align(16) undone: Aces2Inverse,\n";
    }
    if structure.ending == Ending::Display(OutputTransform::Aces2) {
        fields += "    @align(16) aces2: Aces2,\n";
    }
    if structure.ending == Ending::Display(OutputTransform::Lut) {
        fields += "    @align(16) show_lut: ShowLut,\n";
    }
    if structure.calibrated {
        fields += "    @align(16) calibration: Table,\n";
    }
    if structure.spread().is_some() {
        fields += "    @align(16) rest: vec4<f32>,\n";
    }
    for (i, kind) in structure.stages.iter().enumerate() {
        fields += &format!("    @align(16) s{i}: {},\n", kind.declaration().struct_name);
    }
    // The fourth number is 0 outside the frame.
    let mut body = match structure.source {
        Source::Frame => "    let framed = framed_signal(p.head.framing, p.head.unpack, at);\n",
        Source::Signal | Source::Light => "    let framed = textureLoad(source_picture, at, 0);\n",
    }
    .to_owned();
    body += "    var v = framed.xyz;\n";
    if structure.source != Source::Light {
        body += "    v = curve_decode(p.head.decode, v);\n";
        body += match structure.undone {
            Some(OutputTransform::Plain) => {
                "    v = transform(p.head.to_acescg, clamp(v, vec3(0.0), vec3(1.0)));\n    \
                 v = tone_scale_inverse(p.undone_tone, v);\n"
            }
            Some(OutputTransform::Aces2) => "    v = aces2_inverse(p.undone, p.undone_tone, v);\n",
            Some(OutputTransform::None | OutputTransform::Lut) | None => {
                "    v = transform(p.head.to_acescg, v);\n"
            }
        };
    }
    if structure.graded {
        body += "    v = balance_linear(p.head.balance, v);\n";
    }
    if let Some(kind) = structure.spread() {
        let stage = kind.declaration().function();
        body += &format!(
            "    let own = {stage}_source(p.s0, v);\n    \
             let spread = p.rest.xyz * own + spread_between(at);\n    \
             v = select(v + ({stage}(p.s0, v, own, spread) - v) * p.s0.strength, {stage}(p.s0, v, own, spread), \
             p.s0.strength == 1.0);\n"
        );
    }
    let points = usize::from(structure.spread().is_some())..structure.stages.len();
    if structure.graded || !points.is_empty() {
        body += "    v = acescct_encode(v);\n";
        if structure.graded {
            body += "    v = balance_acescct(p.head.balance, v);\n";
        }
        let mut tables = 0;
        for (i, kind) in points.clone().map(|i| (i, structure.stages[i])) {
            let d = kind.declaration();
            let mut more = String::new();
            if d.table {
                more = format!(", lut_{}", tables.min(MAX_LUTS - 1));
                tables += 1;
            }
            if d.spot {
                more = ", Spot(id.x, id.y, p.head.unpack.frame)".to_owned();
            }
            let (before, after) = match d.domain {
                Domain::Acescct => ("v", "y"),
                Domain::Linear => ("acescct_decode(v)", "acescct_encode(y)"),
            };
            body += &format!(
                "    if p.s{i}.strength > 0.0 {{\n        let x = {before};\n        var y = {}(p.s{i}, x{more});\n        \
                 y = select(x + (y - x) * p.s{i}.strength, y, p.s{i}.strength == 1.0);\n        \
                 v = {after};\n    }}\n",
                d.function()
            );
        }
        body += "    v = acescct_decode(v);\n";
    }
    if matches!(structure.ending, Ending::Display(_)) {
        body += "    v = trim(p.head.trim, v);\n";
    }
    body += match structure.ending {
        Ending::Display(OutputTransform::Plain) => {
            "    v = transform(p.head.matrix, tone_scale(p.head.tone, v));\n"
        }
        Ending::Display(OutputTransform::Aces2) => "    v = aces2(p.aces2, p.head.tone, v);\n",
        Ending::Display(OutputTransform::Lut) => {
            "    v = show_lut(p.show_lut, p.head.widening, p.head.widened, p.head.encode, v, lut_transform);\n"
        }
        Ending::Display(OutputTransform::None) | Ending::Encoding => "    v = transform(p.head.matrix, v);\n",
        Ending::Light => "",
    };
    body += match structure.ending {
        // Signal already.
        Ending::Display(OutputTransform::Lut) => "",
        Ending::Display(_) => {
            "    v = clamp(v, vec3(0.0), vec3(1.0));\n    \
             if p.head.widened > 0.0 {\n        \
             v = clamp(transform(p.head.widening, v), vec3(0.0), vec3(1.0));\n    }\n    \
             v = curve_encode_light(p.head.encode, v);\n"
        }
        Ending::Encoding => "    v = curve_encode(p.head.encode, v);\n",
        Ending::Light => "",
    };
    // Passes to come are told what lies beside the frame.
    body += "    v = select(vec3(0.0), v, framed.w > 0.0);\n";
    if structure.calibrated {
        body += "    v = clamp(table_value(p.calibration, v, lut_calibration), vec3(0.0), vec3(1.0));\n";
    }
    let codes = "    let noise = dither_noise(id.x, id.y, p.head.unpack.frame) * p.head.dither;\n    \
                 let codes = quantise(v, p.head.code_max, noise);\n";
    let (format, store) = match structure.target {
        Target::Float => {
            ("rgba32float", "    textureStore(target_picture, at, vec4(v, framed.w));\n".to_owned())
        }
        Target::Half => (
            "rgba16float",
            "    textureStore(target_picture, at, vec4(nearest_halves(v), framed.w));\n".to_owned(),
        ),
        Target::Codes => (
            "rgba16uint",
            format!(
                "{codes}    textureStore(target_picture, at, vec4(vec3<u32>(codes), u32(p.head.code_max)));\n"
            ),
        ),
        Target::Screen => (
            "rgba8unorm",
            format!("{codes}    textureStore(target_picture, at, vec4(codes / p.head.code_max, 1.0));\n"),
        ),
        Target::DeepScreen => (
            "rgba16float",
            format!(
                "{codes}    let shown = codes / p.head.code_max;\n    \
                 textureStore(target_picture, at, vec4(nearest_halves(shown), 1.0));\n"
            ),
        ),
    };
    let (wx, wy) = WORKGROUP;
    format!(
        "struct Parameters {{\n{fields}}}\n\n\
         @group(0) @binding(3) var<uniform> p: Parameters;\n\
         @group(0) @binding(4) var target_picture: texture_storage_2d<{format}, write>;\n\n\
         @compute @workgroup_size({wx}, {wy})\n\
         fn main(@builtin(global_invocation_id) id: vec3<u32>) {{\n    \
         if any(id.xy >= textureDimensions(target_picture)) {{\n        return;\n    }}\n    \
         let at = vec2<i32>(id.xy);\n\
         {body}{store}}}\n"
    )
}
