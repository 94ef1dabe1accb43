// One level of the pyramid to the next coarser, by 1 3 3 1 either way. Twin of Level::down in src/picture/spread.rs.
// An invocation makes two columns of four pixels and keeps the rows that two of them share, so that what is spread of a
// pixel is worked out twice, not sixteen times, and no workgroup waits for itself.

@group(0) @binding(0) var finer: texture_2d<f32>;

// Sums across a row, for the left pixel and for the right.
struct SpreadRow {
    left: vec3<f32>,
    right: vec3<f32>,
}

fn finer_pixel(x: i32, y: i32, last: vec2<i32>) -> vec3<f32> {
    return spread_source(textureLoad(finer, clamp(vec2(x, y), vec2(0), last), 0).xyz);
}

fn finer_row(x: i32, y: i32, last: vec2<i32>) -> SpreadRow {
    let a = finer_pixel(x - 1, y, last);
    let b = finer_pixel(x, y, last);
    let c = finer_pixel(x + 1, y, last);
    let d = finer_pixel(x + 2, y, last);
    let e = finer_pixel(x + 3, y, last);
    let f = finer_pixel(x + 4, y, last);
    return SpreadRow(0.125 * (a + d) + 0.375 * (b + c), 0.125 * (c + f) + 0.375 * (d + e));
}

fn store_within(at: vec2<i32>, v: vec3<f32>) {
    if all(at < vec2<i32>(textureDimensions(target_picture))) {
        store_spread(at, v);
    }
}

@compute @workgroup_size(16, 4)
fn main(@builtin(global_invocation_id) id: vec3<u32>) {
    let last = vec2<i32>(textureDimensions(finer)) - 1;
    let at = vec2<i32>(id.xy) * vec2(2, 4);
    var a = finer_row(2 * at.x, 2 * at.y - 1, last);
    var b = finer_row(2 * at.x, 2 * at.y, last);
    for (var i = 0; i < 4; i++) {
        let c = finer_row(2 * at.x, 2 * (at.y + i) + 1, last);
        let d = finer_row(2 * at.x, 2 * (at.y + i) + 2, last);
        store_within(at + vec2(0, i), 0.125 * (a.left + d.left) + 0.375 * (b.left + c.left));
        store_within(at + vec2(1, i), 0.125 * (a.right + d.right) + 0.375 * (b.right + c.right));
        a = c;
        b = d;
    }
}
