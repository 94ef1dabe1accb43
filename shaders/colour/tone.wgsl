// Twin of src/colour/tone.rs: the tone scale of the plain output transform, and its inverse.

struct ToneScale {
    m_2: f32,
    s_2: f32,
    g: f32,
    t_1: f32,
    of_peak: f32,
}

// Of light over itself and s_2, raised to g.
fn tone_scale_of(t: ToneScale, raised: f32) -> f32 {
    let f = t.m_2 * raised;
    return f * f / (f + t.t_1) * t.of_peak;
}

fn tone_scale_one(t: ToneScale, value: f32) -> f32 {
    let x = max(value, 0.0);
    return tone_scale_of(t, fine_power(x / (x + t.s_2), t.g));
}

fn tone_scale_inverse_one(t: ToneScale, value: f32) -> f32 {
    let light = clamp(value, 0.0, 1.0) / t.of_peak;
    let f = 0.5 * (light + sqrt(light * (light + 4.0 * t.t_1)));
    let share = fine_power(f / t.m_2, 1.0 / t.g);
    return t.s_2 * share / (1.0 - share);
}

fn tone_scale(t: ToneScale, v: vec3<f32>) -> vec3<f32> {
    return vec3(tone_scale_one(t, v.x), tone_scale_one(t, v.y), tone_scale_one(t, v.z));
}

fn tone_scale_inverse(t: ToneScale, v: vec3<f32>) -> vec3<f32> {
    return vec3(tone_scale_inverse_one(t, v.x), tone_scale_inverse_one(t, v.y), tone_scale_inverse_one(t, v.z));
}
