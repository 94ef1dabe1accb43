// Twin of src/colour/real.rs. The built-in logarithm and power of two are several times faster than a
// polynomial; where their error would be seen (a large exponent on a logarithm near 0), use fine_power.

// What is not positive has no logarithm: what comes of it must be selected away.
fn log_2(value: f32) -> f32 {
    return log2(value);
}

// Past 128 it overflows: bound what comes of it.
fn exp_2(value: f32) -> f32 {
    return exp2(value);
}

fn log_2_each(v: vec3<f32>) -> vec3<f32> {
    return log2(v);
}

fn exp_2_each(v: vec3<f32>) -> vec3<f32> {
    return exp2(v);
}

fn power(base: f32, exponent: f32) -> f32 {
    return select(0.0, exp_2(exponent * log_2(base)), base > 0.0);
}

// The same from + - * / and bit operations only, bit for bit what the Rust twin computes.

fn fine_log_2(value: f32) -> f32 {
    let x = max(value, 1.17549435e-38);
    let bits = bitcast<i32>(x);
    let e = (bits - 0x3f3504f3) >> 23u;
    let m = bitcast<f32>(bits - (e << 23u));
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let series = 2.8853901 + q * (0.9617967 + q * (0.57707804 + q * (0.4121986 + q * 0.3205989)));
    return f32(e) + s * series;
}

fn fine_exp_2(value: f32) -> f32 {
    let x = min(max(value, -125.0), 127.999);
    let i = floor(x + 0.5);
    let f = x - i;
    let p = 1.0 + f * (0.6931472 + f * (0.2402265 + f * (0.05550411 + f * (0.009618129
        + f * (0.0013333558 + f * (0.0001540353 + f * 0.000015252734))))));
    return bitcast<f32>(bitcast<i32>(p) + (i32(i) << 23u));
}

fn fine_power(base: f32, exponent: f32) -> f32 {
    return select(0.0, fine_exp_2(exponent * fine_log_2(base)), base > 0.0);
}
