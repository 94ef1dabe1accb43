// Twin of src/picture/trim.rs.

struct Trim {
    luminance: vec3<f32>,
    gain: f32,
    saturation: f32,
    bend: f32,
    start: f32,
}

fn trim(t: Trim, acescg: vec3<f32>) -> vec3<f32> {
    let lit = acescg * t.gain;
    let y = t.luminance.x * lit.x + t.luminance.y * lit.y + t.luminance.z * lit.z;
    let v = select(y + (lit - y) * t.saturation, lit, t.saturation == 1.0);
    let most = max(max(v.x, v.y), max(v.z, t.start));
    let over = most - t.start;
    let scale = (t.start + over / (1.0 + t.bend * over)) / most;
    return select(v * scale, v, t.bend == 0.0 || over <= 0.0);
}
