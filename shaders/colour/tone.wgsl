// Twin of src/colour/tone.rs: the tone scale of the plain output transform, and its inverse.

struct ToneScale {
    m_2: f32,
    s_2: f32,
    g: f32,
    t_1: f32,
    peak: f32,
}

fn tone_scale_one(t: ToneScale, value: f32) -> f32 {
    let x = max(value, 0.0);
    let f = t.m_2 * fine_power(x / (x + t.s_2), t.g);
    return f * f / (f + t.t_1) / t.peak;
}

fn tone_scale_inverse_one(t: ToneScale, value: f32) -> f32 {
    let light = clamp(value, 0.0, 1.0) * t.peak;
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
