// What came up from a coarser level, between its pixels where pixel `at` of the finer one is. Twin of Level::between
// in src/picture/spread.rs.

fn spread_pixel(at: vec2<i32>) -> vec3<f32> {
    return textureLoad(spread_picture, clamp(at, vec2(0), vec2<i32>(textureDimensions(spread_picture)) - 1), 0).xyz;
}

fn spread_between(at: vec2<i32>) -> vec3<f32> {
    let low = (at - 1) >> vec2(1u);
    let t = select(vec2(0.25), vec2(0.75), (at & vec2(1)) == vec2(0));
    let a = spread_pixel(low);
    let b = spread_pixel(low + vec2(1, 0));
    let c = spread_pixel(low + vec2(0, 1));
    let d = spread_pixel(low + vec2(1, 1));
    let upper = a + (b - a) * t.x;
    let lower = c + (d - c) * t.x;
    return upper + (lower - upper) * t.y;
}
