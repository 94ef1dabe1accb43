// Means over a ring's circles on one level. Twin of Level::ring in src/picture/spread.rs.

struct SpreadRing {
    // Across, down and share of each point; 48 of them.
    taps: array<vec4<f32>, 48>,
}

@group(0) @binding(0) var level: texture_2d<f32>;
@group(0) @binding(3) var<uniform> p: SpreadRing;

fn spread_ring(at: vec2<i32>) -> vec3<f32> {
    let last = vec2<i32>(textureDimensions(level)) - 1;
    var sum = vec3(0.0);
    for (var i = 0; i < 48; i++) {
        let tap = p.taps[i];
        let place = vec2<f32>(at) + tap.xy;
        let low = floor(place);
        let t = place - low;
        let a = vec2<i32>(low);
        let upper = mix_pixels(a, t.x, last);
        let lower = mix_pixels(a + vec2(0, 1), t.x, last);
        sum += tap.z * (upper + (lower - upper) * t.y);
    }
    return sum;
}

fn mix_pixels(at: vec2<i32>, share: f32, last: vec2<i32>) -> vec3<f32> {
    let a = textureLoad(level, clamp(at, vec2(0), last), 0).xyz;
    let b = textureLoad(level, clamp(at + vec2(1, 0), vec2(0), last), 0).xyz;
    return a + (b - a) * share;
}
