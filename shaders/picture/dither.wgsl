// Twin of src/picture/dither.rs.

fn hash(value: u32) -> u32 {
    var h = value;
    h = (h ^ (h >> 16u)) * 0x7feb352du;
    h = (h ^ (h >> 15u)) * 0x846ca68bu;
    return h ^ (h >> 16u);
}

fn dither_noise(x: u32, y: u32, channel: u32, frame: u32) -> f32 {
    let seed = hash(x ^ hash(y ^ hash(frame * 3u + channel)));
    let a = seed >> 8u;
    let b = hash(seed) >> 8u;
    return (f32(a) - f32(b)) * 5.9604644775390625e-8;
}

fn quantise(signal: f32, limit: f32, noise: f32) -> f32 {
    if signal <= 0.0 {
        return 0.0;
    }
    if signal >= 1.0 {
        return limit;
    }
    return clamp(floor(signal * limit + 0.5 + noise), 0.0, limit);
}
