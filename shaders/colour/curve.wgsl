// Twin of src/colour/curve.rs: transfer functions as data.

struct Curve {
    family: f32,
    k: array<f32, 11>,
}

fn curve_decode_one(c: Curve, y: f32) -> f32 {
    switch u32(c.family) {
        case 1u: {
            if y < c.k[5] {
                return min((y - c.k[7]) * c.k[10], 65504.0);
            }
            return min((exp_2((y - c.k[3]) * c.k[9]) - c.k[1]) * c.k[8], 65504.0);
        }
        case 2u: {
            return power(y, c.k[0]);
        }
        case 3u: {
            if y < c.k[5] {
                return y * c.k[8];
            }
            return power((y + c.k[2]) * c.k[7], c.k[0]);
        }
        default: {
            return y;
        }
    }
}

fn curve_encode_one(c: Curve, x: f32) -> f32 {
    switch u32(c.family) {
        case 1u: {
            if x < c.k[4] {
                return c.k[6] * x + c.k[7];
            }
            return c.k[2] * log_2(c.k[0] * x + c.k[1]) + c.k[3];
        }
        case 2u: {
            return power(x, c.k[1]);
        }
        case 3u: {
            if x < c.k[4] {
                return x * c.k[3];
            }
            return c.k[6] * power(x, c.k[1]) - c.k[2];
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
