// Twin of src/colour/curve.rs: transfer functions as data.

struct Curve {
    family: f32,
    k0: f32,
    k1: f32,
    k2: f32,
    k3: f32,
    k4: f32,
    k5: f32,
    k6: f32,
    k7: f32,
    k8: f32,
    k9: f32,
    k10: f32,
}

// Families share one logarithm and one power of two: software GPUs run every branch of a switch.

fn curve_decode_one(c: Curve, y: f32) -> f32 {
    let is_log = c.family == 1.0;
    let base = select(y, (y + c.k2) * c.k7, c.family == 3.0);
    let e = exp_2(select(c.k0 * log_2(base), (y - c.k3) * c.k9, is_log));
    let curved = select(select(0.0, e, base > 0.0), min((e - c.k1) * c.k8, 65504.0), is_log);
    let straight = select(y * c.k8, min((y - c.k7) * c.k10, 65504.0), is_log);
    let light = select(curved, straight, c.family != 2.0 && y < c.k5);
    return select(light, y, c.family == 0.0);
}

fn curve_encode_one(c: Curve, x: f32) -> f32 {
    let is_log = c.family == 1.0;
    let base = select(x, c.k0 * x + c.k1, is_log);
    let l = log_2(base);
    let raised = select(0.0, exp_2(c.k1 * l), base > 0.0);
    let power_curve = select(raised, c.k6 * raised - c.k2, c.family == 3.0);
    let curved = select(power_curve, c.k2 * l + c.k3, is_log);
    let straight = select(x * c.k3, c.k6 * x + c.k7, is_log);
    let signal = select(curved, straight, c.family != 2.0 && x < c.k4);
    return select(signal, x, c.family == 0.0);
}

fn curve_decode(c: Curve, v: vec3<f32>) -> vec3<f32> {
    return vec3(curve_decode_one(c, v.x), curve_decode_one(c, v.y), curve_decode_one(c, v.z));
}

fn curve_encode(c: Curve, v: vec3<f32>) -> vec3<f32> {
    return vec3(curve_encode_one(c, v.x), curve_encode_one(c, v.y), curve_encode_one(c, v.z));
}

fn acescct_encode_one(x: f32) -> f32 {
    if x <= 0.0078125 {
        return 10.5402377416545 * x + 0.0729055341958355;
    }
    return (log_2(x) + 9.72) * 0.057077625570776254;
}

fn acescct_decode_one(y: f32) -> f32 {
    if y <= 0.155251141552511 {
        return (y - 0.0729055341958355) * 0.09487452033914275;
    }
    return min(exp_2(y * 17.52 - 9.72), 65504.0);
}

fn acescct_encode(v: vec3<f32>) -> vec3<f32> {
    return vec3(acescct_encode_one(v.x), acescct_encode_one(v.y), acescct_encode_one(v.z));
}

fn acescct_decode(v: vec3<f32>) -> vec3<f32> {
    return vec3(acescct_decode_one(v.x), acescct_decode_one(v.y), acescct_decode_one(v.z));
}
