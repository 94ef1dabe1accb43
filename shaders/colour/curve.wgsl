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

fn curve_decode_one(c: Curve, y: f32) -> f32 {
    switch u32(c.family) {
        case 1u: {
            if y < c.k5 {
                return min((y - c.k7) * c.k10, 65504.0);
            }
            return min((exp_2((y - c.k3) * c.k9) - c.k1) * c.k8, 65504.0);
        }
        case 2u: {
            return power(y, c.k0);
        }
        case 3u: {
            if y < c.k5 {
                return y * c.k8;
            }
            return power((y + c.k2) * c.k7, c.k0);
        }
        default: {
            return y;
        }
    }
}

fn curve_encode_one(c: Curve, x: f32) -> f32 {
    switch u32(c.family) {
        case 1u: {
            if x < c.k4 {
                return c.k6 * x + c.k7;
            }
            return c.k2 * log_2(c.k0 * x + c.k1) + c.k3;
        }
        case 2u: {
            return power(x, c.k1);
        }
        case 3u: {
            if x < c.k4 {
                return x * c.k3;
            }
            return c.k6 * power(x, c.k1) - c.k2;
        }
        default: {
            return x;
        }
    }
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
