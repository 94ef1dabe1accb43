// Twin of src/picture/trim.rs.

struct Trim {
    luminance: vec3<f32>,
    gain: f32,
    saturation: f32,
    bend: f32,
    start: f32,
}

fn trim(t: Trim, acescg: vec3<f32>) -> vec3<f32> {
    var v = acescg * t.gain;
    if t.saturation != 1.0 {
        let y = t.luminance.x * v.x + t.luminance.y * v.y + t.luminance.z * v.z;
        v = y + (v - y) * t.saturation;
    }
    if t.bend != 0.0 {
        let most = max(max(v.x, v.y), max(v.z, t.start));
        let over = most - t.start;
        let scale = (t.start + over / (1.0 + t.bend * over)) / most;
        v = select(v, v * scale, over > 0.0);
    }
    return v;
}
