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

// Families share one logarithm and one power of two: software GPUs run every branch, others skip those that no
// pixel takes. Constants stand where their like stands in other families, so that little is left to select.
//   0 linear, 1 power, 2 log, 3 log floor, 4 log mirrored, 5 log cube, 6 log square

fn curve_decode(c: Curve, y: vec3<f32>) -> vec3<f32> {
    if c.family == 2.0 {
        // What most cameras have, without all that others ask for.
        let curved = min((exp_2_each((y - c.k3) * c.k9) - c.k1) * c.k8, vec3(65504.0));
        return select(curved, (y - c.k7) * c.k10, y < vec3(c.k5));
    }
    if c.family == 0.0 {
        return y;
    }
    let is_log = c.family >= 2.0;
    let is_mirrored = c.family == 4.0;
    let low = vec3(is_mirrored) & (y < vec3(c.k7));
    let d = select(y - c.k3, c.k5 - y, low);
    var logarithm = d;
    if !is_log {
        logarithm = log_2_each(max(d * c.k8, vec3(1.17549435e-38)));
    }
    let e = exp_2_each(logarithm * c.k9);
    var curved = select(vec3(0.0), e, d * c.k8 > vec3(0.0));
    if is_log {
        let held = min((e - c.k1) * c.k8, vec3(65504.0));
        curved = select(held, -held, low);
    }
    var straight = (select(y, e, c.family == 3.0) - c.k7) * c.k10;
    if c.family >= 5.0 {
        let s = y * c.k10;
        straight = select(sqrt(max(s, vec3(0.0))), s * s * s, c.family == 5.0) - c.k7;
    }
    let is_straight = select(y < vec3(c.k5), abs(straight) < vec3(c.k4), vec3(is_mirrored));
    return select(curved, straight, is_straight);
}

fn curve_encode(c: Curve, x: vec3<f32>) -> vec3<f32> {
    if c.family == 1.0 {
        // What most displays have, without all that others ask for.
        let raised = select(vec3(0.0), exp_2_each(c.k2 * log_2_each(x)), x > vec3(0.0));
        return select(c.k0 * raised + c.k3, c.k6 * x + c.k7, x < vec3(c.k4));
    }
    if c.family == 0.0 {
        return x;
    }
    let is_log = c.family >= 2.0;
    let is_mirrored = c.family == 4.0;
    let is_cube = c.family == 5.0;
    let light = select(x, abs(x), is_mirrored);
    let below = light < vec3(c.k4);
    let line = c.k6 * x + c.k7;
    let shifted = x + c.k7;
    var base = x;
    if is_log {
        let inside = c.k0 * light + c.k1;
        base = select(inside, max(inside, max(line, vec3(c.k7))), c.family == 3.0);
        base = select(base, abs(shifted), vec3(is_cube) & below);
    }
    let logarithm = log_2_each(max(base, vec3(1.17549435e-38)));
    let p = c.k2 * logarithm;
    var raised = vec3(0.0);
    if !is_log || is_cube {
        raised = exp_2_each(select(p, 0.33333334 * logarithm, is_cube));
        raised = select(vec3(0.0), raised, base > vec3(0.0));
    }
    let upper = select(c.k0 * raised, p, is_log) + c.k3;
    let curved = select(upper, c.k5 - p, vec3(is_mirrored) & (x < vec3(0.0)));
    var straight = line;
    if c.family >= 5.0 {
        let positive = max(shifted, vec3(0.0));
        let root = select(raised, -raised, shifted < vec3(0.0));
        straight = c.k6 * select(positive * positive, root, is_cube);
    }
    return select(curved, straight, below);
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

// A display's light to its signal. Families 7 and 8 are PQ and HLG.
fn curve_encode_light(c: Curve, v: vec3<f32>) -> vec3<f32> {
    if c.family == 7.0 {
        return vec3(pq_encode(v.x * c.k0), pq_encode(v.y * c.k0), pq_encode(v.z * c.k0));
    }
    if c.family == 8.0 {
        let scene = v * power(c.k1 * v.x + c.k2 * v.y + c.k3 * v.z, c.k0);
        return vec3(hlg_encode(scene.x), hlg_encode(scene.y), hlg_encode(scene.z));
    }
    return curve_encode(c, v);
}

// Its inverse.
fn curve_decode_light(c: Curve, v: vec3<f32>) -> vec3<f32> {
    if c.family == 7.0 {
        return vec3(pq_decode(v.x), pq_decode(v.y), pq_decode(v.z)) * c.k1;
    }
    if c.family == 8.0 {
        let scene = vec3(hlg_decode(v.x), hlg_decode(v.y), hlg_decode(v.z));
        return scene * power(c.k1 * scene.x + c.k2 * scene.y + c.k3 * scene.z, c.k4);
    }
    return curve_decode(c, v);
}

fn acescct_encode(v: vec3<f32>) -> vec3<f32> {
    let curved = (log_2_each(v) + 9.72) * 0.057077625570776254;
    return select(curved, 10.5402377416545 * v + 0.0729055341958355, v <= vec3(0.0078125));
}

fn acescct_decode(v: vec3<f32>) -> vec3<f32> {
    let curved = min(exp_2_each(v * 17.52 - 9.72), vec3(65504.0));
    return select(curved, (v - 0.0729055341958355) * 0.09487452033914275, v <= vec3(0.155251141552511));
}
