// One level of the pyramid to the next coarser, by 1 3 3 1 either way. Twin of Level::down in src/picture/spread.rs.
// What a workgroup reads it shares, so that what is spread of a pixel is worked out once or twice, not sixteen times.

@group(0) @binding(0) var finer: texture_2d<f32>;

// Eight pixels take 18 of the finer level, either way.
var<workgroup> shared_pixels: array<vec3<f32>, 324>;

fn spread_down(at: vec2<i32>, group: vec2<i32>, local: u32) -> vec3<f32> {
    let last = vec2<i32>(textureDimensions(finer)) - 1;
    for (var i = i32(local); i < 324; i += 64) {
        let read = clamp(16 * group + vec2(i % 18, i / 18) - 1, vec2(0), last);
        shared_pixels[i] = spread_source(textureLoad(finer, read, 0).xyz);
    }
    workgroupBarrier();
    let shares = vec4(0.125, 0.375, 0.375, 0.125);
    let first = 2 * (at.x - 8 * group.x) + 36 * (at.y - 8 * group.y);
    var sum = vec3(0.0);
    for (var j = 0; j < 4; j++) {
        let row = first + 18 * j;
        let down = shares[j];
        sum += (shares.x * down) * shared_pixels[row];
        sum += (shares.y * down) * shared_pixels[row + 1];
        sum += (shares.z * down) * shared_pixels[row + 2];
        sum += (shares.w * down) * shared_pixels[row + 3];
    }
    return sum;
}
