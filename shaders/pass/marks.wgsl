// What a picture's light and signals are told by on the desk: false colours, and marks where signals end. Twin of
// src/scope/stops.rs and src/scope/patterns.rs. `marked_picture` and `marks_stored` come after it, since its format varies.

struct MarkSetting {
    // From ACEScg to the limiting primaries of the client's display.
    @align(16) limiting: Matrix,
    // Luminance's weights times what makes steps powers of two; how far outside the primaries counts.
    @align(16) luminance: vec3<f32>,
    excess: f32,
    // Where the camera's codes end below and above, and the display's signal above and below.
    @align(16) floor: f32,
    clip: f32,
    upper: f32,
    lower: f32,
    factor: f32,
    // Pixels of a pattern's cell; 1 false colour, 2 clipping, 4 gamut.
    unit: u32,
    what: u32,
    pad: u32,
}

const MARK_REACH: i32 = 7;
const MARK_FLOOR: u32 = 15u;
const MARK_CLIP: u32 = 16u;
// Inks follow the scale in the palette.
const MARK_DARK: u32 = 17u;
const MARK_LIGHT: u32 = 18u;
const MARK_NONE: u32 = 255u;
const MARK_COUNTS: u32 = 22u;

@group(0) @binding(0) var base_picture: texture_2d<f32>;
@group(0) @binding(1) var camera_picture: texture_2d<f32>;
@group(0) @binding(2) var light_picture: texture_2d<f32>;
@group(0) @binding(3) var signal_picture: texture_2d<f32>;
@group(0) @binding(4) var graded_picture: texture_2d<f32>;
@group(0) @binding(5) var palette: texture_2d<f32>;
@group(0) @binding(6) var<uniform> m: MarkSetting;
@group(0) @binding(7) var<storage, read_write> tally: array<atomic<u32>>;

var<workgroup> group_tally: array<atomic<u32>, 22>;

fn marks_step(light: vec3<f32>) -> u32 {
    let w = m.luminance;
    let scaled = (w.x * light.x + w.y * light.y + w.z * light.z) * m.factor;
    let stops = select(-MARK_REACH, i32(bitcast<u32>(scaled) >> 23u) - 127, scaled > 0.0);
    return u32(clamp(stops, -MARK_REACH, MARK_REACH) + MARK_REACH);
}

fn marks_place(light: vec3<f32>, camera: vec3<f32>) -> u32 {
    let in_codes = select(marks_step(light), MARK_FLOOR, all(camera <= vec3(m.floor)));
    return select(in_codes, MARK_CLIP, any(camera >= vec3(m.clip)));
}

fn marks_stripes(x: u32, y: u32, rising: bool) -> u32 {
    let along = select(x - y, x + y, rising) & 7u;
    return select(select(MARK_NONE, MARK_LIGHT, along < 4u), MARK_DARK, along < 2u);
}

fn marks_far(x: u32) -> u32 {
    return u32(abs(i32(x & 7u) - 3));
}

fn marks_dots(x: u32, y: u32) -> u32 {
    let far = max(marks_far(x), marks_far(y));
    return select(select(MARK_NONE, MARK_LIGHT, far == 2u), MARK_DARK, far < 2u);
}

fn marks_crosses(x: u32, y: u32) -> u32 {
    let across = marks_far(x + 4u);
    let down = marks_far(y + 4u);
    let near = min(across, down);
    let far = max(across, down);
    let edge = (near == 0u && far == 3u) || (near == 1u && far < 4u);
    return select(select(MARK_NONE, MARK_LIGHT, edge), MARK_DARK, near == 0u && far < 3u);
}

// The ink over what is there already.
fn marks_over(under: u32, over: u32, is: bool) -> u32 {
    return select(under, over, is && over != MARK_NONE);
}

@compute @workgroup_size(8, 8)
fn main(@builtin(global_invocation_id) id: vec3<u32>, @builtin(local_invocation_index) local: u32) {
    if local < MARK_COUNTS {
        atomicStore(&group_tally[local], 0u);
    }
    workgroupBarrier();
    let at = vec2<i32>(id.xy);
    let there = all(id.xy < textureDimensions(marked_picture));
    let base = textureLoad(base_picture, at, 0);
    let camera = textureLoad(camera_picture, at, 0);
    if there {
        var shown = base;
        if camera.w > 0.0 {
            let light = textureLoad(light_picture, at, 0).xyz;
            let signal = textureLoad(signal_picture, at, 0).xyz;
            let graded = textureLoad(graded_picture, at, 0).xyz;
            let false_colour = (m.what & 1u) != 0u;
            let clipping = (m.what & 2u) != 0u;
            let limited = transform(m.limiting, graded);
            let least = min(min(limited.x, limited.y), limited.z);
            let most = max(max(limited.x, limited.y), limited.z);
            let place = marks_place(light, camera.xyz);
            let upper = clipping && any(signal >= vec3(m.upper));
            let lower = clipping && any(signal <= vec3(m.lower));
            let cut = clipping && any(camera.xyz >= vec3(m.clip));
            let gamut = (m.what & 4u) != 0u && least < -m.excess * max(most, 0.0) && least < -1e-5;

            let x = id.x / m.unit;
            let y = id.y / m.unit;
            let dot = marks_dots(x, y) == MARK_DARK;
            // Dots in the inks are beyond the scale.
            var colour = place;
            colour = select(colour, select(MARK_DARK, MARK_LIGHT, dot), place == MARK_FLOOR);
            colour = select(colour, select(MARK_LIGHT, MARK_DARK, dot), place == MARK_CLIP);
            colour = select(MARK_NONE, colour, false_colour);
            colour = marks_over(colour, marks_crosses(x, y), gamut);
            colour = marks_over(colour, marks_stripes(x, y, false), lower);
            colour = marks_over(colour, marks_stripes(x, y, true), upper);
            colour = marks_over(colour, marks_dots(x, y), cut);
            if colour != MARK_NONE {
                shown = vec4(textureLoad(palette, vec2(i32(colour), 0), 0).xyz, base.w);
            }
            if false_colour {
                atomicAdd(&group_tally[place], 1u);
            }
            atomicAdd(&group_tally[17u], u32(upper));
            atomicAdd(&group_tally[18u], u32(lower));
            atomicAdd(&group_tally[19u], u32(cut));
            atomicAdd(&group_tally[20u], u32(gamut));
            atomicAdd(&group_tally[21u], 1u);
        }
        marks_stored(at, shown);
    }
    workgroupBarrier();
    if local < MARK_COUNTS {
        let counted = atomicLoad(&group_tally[local]);
        if counted > 0u {
            atomicAdd(&tally[local], counted);
        }
    }
}
