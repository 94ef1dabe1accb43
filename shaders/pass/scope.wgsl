// Counts of a picture's codes and traces of them. Twin of src/scope/: whole numbers, so that both count alike.

struct ScopeSetting {
    // Pixels across that are looked at and rows of them, columns of the waveforms, from one pixel to the next.
    across: u32,
    down: u32,
    columns: u32,
    stride: u32,
    // Luma's weights in parts of 65536; codes of the picture: 255 or 1023.
    weights: vec3<u32>,
    most: u32,
    // From a difference in 256ths of a code to a place on the vectorscope, in parts of 2^23; the levels' window.
    factors: vec2<i32>,
    low: u32,
    shift: u32,
    // Brightness of waveforms and of the vectorscope.
    gain: vec2<f32>,
    // The histogram's full height in pixels of the picture.
    full: f32,
    pad: f32,
}

const LEVELS: u32 = 256u;
const CHANNELS: u32 = 4u;
const BINS: u32 = 256u;

@group(0) @binding(0) var picture: texture_2d<f32>;
@group(0) @binding(1) var<uniform> s: ScopeSetting;
@group(0) @binding(2) var<storage, read_write> wave: array<u32>;
@group(0) @binding(3) var<storage, read_write> histogram: array<u32>;
@group(0) @binding(4) var<storage, read_write> vector: array<atomic<u32>>;
@group(0) @binding(5) var wave_trace: texture_storage_2d<rgba8unorm, write>;
@group(0) @binding(6) var vector_trace: texture_storage_2d<rgba8unorm, write>;

// Codes of ten bits of the n-th pixel of the m-th row that is looked at.
fn scope_pixel(n: u32, m: u32) -> vec3<u32> {
    let v = textureLoad(picture, vec2<i32>(vec2(n, m) * s.stride), 0).xyz;
    let codes = vec3<u32>(v * f32(s.most) + 0.5);
    return select(codes, (codes * 1023u + 127u) / 255u, s.most == 255u);
}

fn scope_luma(codes: vec3<u32>) -> u32 {
    return s.weights.x * codes.x + s.weights.y * codes.y + s.weights.z * codes.z;
}

var<workgroup> column_counts: array<atomic<u32>, 1024>;

fn scope_add(channel: u32, code: u32) {
    let level = (code - s.low) >> s.shift;
    if code >= s.low && level < LEVELS {
        atomicAdd(&column_counts[channel * LEVELS + level], 1u);
    }
}

// A workgroup for each column of the waveforms.
@compute @workgroup_size(64)
fn scope_wave(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) local: u32) {
    for (var i = local; i < CHANNELS * LEVELS; i += 64u) {
        atomicStore(&column_counts[i], 0u);
    }
    workgroupBarrier();
    // Pixel n belongs to column n * columns / across.
    let first = (group.x * s.across + s.columns - 1u) / s.columns;
    let end = ((group.x + 1u) * s.across + s.columns - 1u) / s.columns;
    let wide = end - first;
    for (var i = local; i < wide * s.down; i += 64u) {
        let codes = scope_pixel(first + i % wide, i / wide);
        scope_add(0u, (scope_luma(codes) + 32768u) >> 16u);
        scope_add(1u, codes.x);
        scope_add(2u, codes.y);
        scope_add(3u, codes.z);
    }
    workgroupBarrier();
    for (var i = local; i < CHANNELS * LEVELS; i += 64u) {
        wave[group.x * CHANNELS * LEVELS + i] = atomicLoad(&column_counts[i]);
    }
}

// An invocation for each level of each channel.
@compute @workgroup_size(64)
fn scope_histogram(@builtin(global_invocation_id) at: vec3<u32>) {
    var sum = 0u;
    for (var column = 0u; column < s.columns; column++) {
        sum += wave[column * CHANNELS * LEVELS + at.x];
    }
    histogram[at.x] = sum;
}

fn scope_place(code: u32, luma: u32, factor: i32) -> u32 {
    let difference = ((i32(code) << 16u) - i32(luma)) >> 8u;
    let from_middle = (difference * factor + (1 << 22u)) >> 23u;
    return u32(clamp(from_middle + i32(BINS) / 2, 0, i32(BINS) - 1));
}

@compute @workgroup_size(8, 8)
fn scope_vector(@builtin(global_invocation_id) at: vec3<u32>) {
    if at.x >= s.across || at.y >= s.down {
        return;
    }
    let codes = scope_pixel(at.x, at.y);
    let luma = scope_luma(codes);
    let place = vec2(scope_place(codes.z, luma, s.factors.x), scope_place(codes.x, luma, s.factors.y));
    atomicAdd(&vector[place.y * BINS + place.x], 1u);
}

fn scope_light(count: u32, gain: f32) -> f32 {
    return 1.0 - exp2(-gain * f32(count));
}

// Four waveforms side by side, luma, red, green, blue, and under them the histogram of each.
@compute @workgroup_size(8, 8)
fn scope_draw_wave(@builtin(global_invocation_id) at: vec3<u32>) {
    let size = textureDimensions(wave_trace);
    if at.x >= size.x || at.y >= size.y {
        return;
    }
    let channel = at.x / s.columns;
    let column = at.x % s.columns;
    let upper = at.y < LEVELS;
    let level = LEVELS - 1u - at.y % LEVELS;
    let count = wave[(column * CHANNELS + channel) * LEVELS + level];
    let of_wave = scope_light(count, s.gain.x);
    // Levels of the histogram go across.
    let across = column * LEVELS / s.columns;
    let height = f32(histogram[channel * LEVELS + across]) / s.full * f32(LEVELS);
    let of_histogram = select(0.0, 0.6, f32(level) < height);
    let light = select(of_histogram, of_wave, upper);
    textureStore(wave_trace, vec2<i32>(at.xy), vec4(scope_ink(channel) * light, light));
}

// Quiet inks: that of luma neutral, those of the channels leaning to them, all of one lightness.
fn scope_ink(channel: u32) -> vec3<f32> {
    var ink = vec3(0.86);
    ink = select(ink, vec3(0.95, 0.72, 0.68), channel == 1u);
    ink = select(ink, vec3(0.68, 0.86, 0.68), channel == 2u);
    return select(ink, vec3(0.70, 0.78, 0.96), channel == 3u);
}

@compute @workgroup_size(8, 8)
fn scope_draw_vector(@builtin(global_invocation_id) at: vec3<u32>) {
    if at.x >= BINS || at.y >= BINS {
        return;
    }
    let light = scope_light(atomicLoad(&vector[(BINS - 1u - at.y) * BINS + at.x]), s.gain.y);
    textureStore(vector_trace, vec2<i32>(at.xy), vec4(vec3(0.86) * light, light));
}
