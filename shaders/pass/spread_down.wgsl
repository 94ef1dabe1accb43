// One level of the pyramid to the next coarser, by 1 3 3 1 either way. Twin of Level::down in src/picture/spread.rs.

@group(0) @binding(0) var finer: texture_2d<f32>;

fn spread_down(at: vec2<i32>) -> vec3<f32> {
    let last = vec2<i32>(textureDimensions(finer)) - 1;
    let shares = array<f32, 4>(0.125, 0.375, 0.375, 0.125);
    var sum = vec3(0.0);
    for (var j = 0; j < 4; j++) {
        for (var i = 0; i < 4; i++) {
            let read = clamp(2 * at + vec2(i, j) - 1, vec2(0), last);
            sum += shares[i] * shares[j] * spread_source(textureLoad(finer, read, 0).xyz);
        }
    }
    return sum;
}
