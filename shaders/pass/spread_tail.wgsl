// The small levels in one workgroup: from a level down to the coarsest and up again to the level's own size, so that they
// cost one dispatch, not two each. Twin of Level::down, Level::between and the way up in src/picture/spread.rs.

struct SpreadTail {
    // Share of the level that is read and of each coarser one, and where a coarser one begins in `tail_pixels`.
    levels: array<vec4<f32>, 12>,
    // How many are coarser; one at least.
    count: f32,
}

@group(0) @binding(0) var level: texture_2d<f32>;
@group(0) @binding(3) var<uniform> p: SpreadTail;

var<workgroup> tail_pixels: array<vec3<f32>, 1024>;

fn tail_size(whole: vec2<i32>, n: i32) -> vec2<i32> {
    return (whole + (1 << u32(n)) - 1) >> vec2(u32(n));
}

fn tail_pixel(first: i32, size: vec2<i32>, at: vec2<i32>) -> vec3<f32> {
    let within = clamp(at, vec2(0), size - 1);
    return tail_pixels[first + within.y * size.x + within.x];
}

fn tail_between(first: i32, size: vec2<i32>, at: vec2<i32>) -> vec3<f32> {
    let low = (at - 1) >> vec2(1u);
    let t = select(vec2(0.25), vec2(0.75), (at & vec2(1)) == vec2(0));
    let a = tail_pixel(first, size, low);
    let b = tail_pixel(first, size, low + vec2(1, 0));
    let c = tail_pixel(first, size, low + vec2(0, 1));
    let d = tail_pixel(first, size, low + vec2(1, 1));
    let upper = a + (b - a) * t.x;
    let lower = c + (d - c) * t.x;
    return upper + (lower - upper) * t.y;
}

fn level_row(at: vec2<i32>, last: vec2<i32>) -> vec3<f32> {
    let a = textureLoad(level, clamp(at, vec2(0), last), 0).xyz;
    let b = textureLoad(level, clamp(at + vec2(1, 0), vec2(0), last), 0).xyz;
    let c = textureLoad(level, clamp(at + vec2(2, 0), vec2(0), last), 0).xyz;
    let d = textureLoad(level, clamp(at + vec2(3, 0), vec2(0), last), 0).xyz;
    return 0.125 * (a + d) + 0.375 * (b + c);
}

fn tail_row(first: i32, size: vec2<i32>, at: vec2<i32>) -> vec3<f32> {
    return 0.125 * (tail_pixel(first, size, at) + tail_pixel(first, size, at + vec2(3, 0)))
        + 0.375 * (tail_pixel(first, size, at + vec2(1, 0)) + tail_pixel(first, size, at + vec2(2, 0)));
}

@compute @workgroup_size(256)
fn main(@builtin(local_invocation_index) local: u32) {
    let whole = vec2<i32>(textureDimensions(level));
    let count = i32(p.count);
    let half = tail_size(whole, 1);
    for (var i = i32(local); i < half.x * half.y; i += 256) {
        let y = i / half.x;
        let at = 2 * vec2(i - y * half.x, y) - 1;
        tail_pixels[i] = 0.125 * (level_row(at, whole - 1) + level_row(at + vec2(0, 3), whole - 1))
            + 0.375 * (level_row(at + vec2(0, 1), whole - 1) + level_row(at + vec2(0, 2), whole - 1));
    }
    workgroupBarrier();
    for (var n = 2; n <= count; n++) {
        let finer = tail_size(whole, n - 1);
        let under = i32(p.levels[n - 1].w);
        let size = tail_size(whole, n);
        let first = i32(p.levels[n].w);
        for (var i = i32(local); i < size.x * size.y; i += 256) {
            let y = i / size.x;
            let at = 2 * vec2(i - y * size.x, y) - 1;
            tail_pixels[first + i] = 0.125 * (tail_row(under, finer, at) + tail_row(under, finer, at + vec2(0, 3)))
                + 0.375 * (tail_row(under, finer, at + vec2(0, 1)) + tail_row(under, finer, at + vec2(0, 2)));
        }
        workgroupBarrier();
    }
    let coarsest = tail_size(whole, count);
    for (var i = i32(local); i < coarsest.x * coarsest.y; i += 256) {
        tail_pixels[i32(p.levels[count].w) + i] *= p.levels[count].xyz;
    }
    workgroupBarrier();
    for (var n = count - 1; n > 0; n--) {
        let coarser = tail_size(whole, n + 1);
        let under = i32(p.levels[n + 1].w);
        let size = tail_size(whole, n);
        let first = i32(p.levels[n].w);
        for (var i = i32(local); i < size.x * size.y; i += 256) {
            let y = i / size.x;
            let came = tail_between(under, coarser, vec2(i - y * size.x, y));
            tail_pixels[first + i] = p.levels[n].xyz * tail_pixels[first + i] + came;
        }
        workgroupBarrier();
    }
    for (var i = i32(local); i < whole.x * whole.y; i += 256) {
        let y = i / whole.x;
        let at = vec2(i - y * whole.x, y);
        let came = tail_between(0, half, at);
        store_spread(at, p.levels[0].xyz * textureLoad(level, at, 0).xyz + came);
    }
}
