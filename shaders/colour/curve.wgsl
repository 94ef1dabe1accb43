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

// Families share one logarithm and one power of two: software GPUs run every branch of a switch. Constants
// stand where their like stands in other families, so that little is left to select.
//   0 linear, 1 power, 2 log, 3 log floor, 4 log mirrored, 5 log cube, 6 log square

fn curve_decode_one(c: Curve, y: f32) -> f32 {
    let is_log = c.family >= 2.0;
    let is_mirrored = c.family == 4.0;
    let low = is_mirrored && y < c.k7;
    let d = select(y - c.k3, c.k5 - y, low);
    let base = d * c.k8;
    let e = exp_2(select(log_2(base), d, is_log) * c.k9);
    let held = min((e - c.k1) * c.k8, 65504.0);
    let curved = select(select(0.0, e, base > 0.0), select(held, -held, low), is_log);
    let s = y * c.k10;
    let bent = select(sqrt(max(s, 0.0)), s * s * s, c.family == 5.0) - c.k7;
    let straight = select((select(y, e, c.family == 3.0) - c.k7) * c.k10, bent, c.family >= 5.0);
    let light = select(curved, straight, select(y < c.k5, abs(straight) < c.k4, is_mirrored));
    return select(light, y, c.family == 0.0);
}

fn curve_encode_one(c: Curve, x: f32) -> f32 {
    let is_log = c.family >= 2.0;
    let is_mirrored = c.family == 4.0;
    let is_cube = c.family == 5.0;
    let light = select(x, abs(x), is_mirrored);
    let below = light < c.k4;
    let line = c.k6 * x + c.k7;
    let shifted = x + c.k7;
    let inside = c.k0 * light + c.k1;
    let of_log = select(inside, max(inside, max(line, c.k7)), c.family == 3.0);
    let base = select(select(x, of_log, is_log), abs(shifted), is_cube && below);
    let l = log_2(base);
    let p = c.k2 * l;
    let raised = select(0.0, exp_2(select(p, 0.33333334 * l, is_cube)), base > 0.0);
    let upper = select(c.k0 * raised, p, is_log) + c.k3;
    let curved = select(upper, c.k5 - p, is_mirrored && x < 0.0);
    let positive = max(shifted, 0.0);
    let root = select(raised, -raised, shifted < 0.0);
    let bent = c.k6 * select(positive * positive, root, is_cube);
    let signal = select(curved, select(line, bent, c.family >= 5.0), below);
    return select(signal, x, c.family == 0.0);
}

fn curve_decode(c: Curve, v: vec3<f32>) -> vec3<f32> {
    return vec3(curve_decode_one(c, v.x), curve_decode_one(c, v.y), curve_decode_one(c, v.z));
}

fn curve_encode(c: Curve, v: vec3<f32>) -> vec3<f32> {
    return vec3(curve_encode_one(c, v.x), curve_encode_one(c, v.y), curve_encode_one(c, v.z));
}

// SMPTE ST 2084, of light over 10,000 cd/m².
fn pq_encode(light: f32) -> f32 {
    let p = fine_power(light, 0.1593017578125);
    return fine_power((0.8359375 + 18.8515625 * p) / (1.0 + 18.6875 * p), 78.84375);
}

fn pq_decode(signal: f32) -> f32 {
    let p = fine_power(signal, 0.012683313515655966);
    return fine_power(max(p - 0.8359375, 0.0) / (18.8515625 - 18.6875 * p), 6.277394636015326);
}

// BT.2100's HLG OETF, of scene light 0…1.
fn hlg_encode(e: f32) -> f32 {
    let upper = 0.12395743 * log_2(12.0 * e - 0.28466892) + 0.55991073;
    return select(upper, sqrt(3.0 * max(e, 0.0)), e <= 0.083333336);
}

fn hlg_decode(signal: f32) -> f32 {
    let upper = (exp_2((signal - 0.55991073) * 8.0672857) + 0.28466892) * 0.083333336;
    return select(upper, max(signal, 0.0) * signal * 0.33333334, signal <= 0.5);
}

// A display's light to its signal. Families 7 and 8 are PQ and HLG; loops of one round or none, since software
// GPUs run both sides of a branch.
fn curve_encode_light(c: Curve, v: vec3<f32>) -> vec3<f32> {
    var out = v;
    for (var round = select(0, 1, c.family < 7.0); round < 1; round++) {
        if c.family == 7.0 {
            out = vec3(pq_encode(v.x * c.k0), pq_encode(v.y * c.k0), pq_encode(v.z * c.k0));
        } else {
            let scene = v * power(c.k1 * v.x + c.k2 * v.y + c.k3 * v.z, c.k0);
            out = vec3(hlg_encode(scene.x), hlg_encode(scene.y), hlg_encode(scene.z));
        }
    }
    for (var round = select(0, 1, c.family >= 7.0); round < 1; round++) {
        out = curve_encode(c, v);
    }
    return out;
}

// Its inverse.
fn curve_decode_light(c: Curve, v: vec3<f32>) -> vec3<f32> {
    var out = v;
    for (var round = select(0, 1, c.family < 7.0); round < 1; round++) {
        if c.family == 7.0 {
            out = vec3(pq_decode(v.x), pq_decode(v.y), pq_decode(v.z)) * c.k1;
        } else {
            let scene = vec3(hlg_decode(v.x), hlg_decode(v.y), hlg_decode(v.z));
            out = scene * power(c.k1 * scene.x + c.k2 * scene.y + c.k3 * scene.z, c.k4);
        }
    }
    for (var round = select(0, 1, c.family >= 7.0); round < 1; round++) {
        out = curve_decode(c, v);
    }
    return out;
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
