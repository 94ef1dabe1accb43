// Twin of src/picture/dither.rs; the hash is that of src/look/spot.rs.

fn hash(value: u32) -> u32 {
    var h = value;
    h = (h ^ (h >> 16u)) * 0x7feb352du;
    h = (h ^ (h >> 15u)) * 0x846ca68bu;
    return h ^ (h >> 16u);
}

fn dither_noise(x: u32, y: u32, frame: u32) -> vec3<f32> {
    let pixel = hash(x ^ hash(y ^ hash(frame)));
    let drawn = vec3(hash(pixel), hash(pixel + 1u), hash(pixel + 2u));
    return (vec3<f32>(drawn >> vec3(16u)) - vec3<f32>(drawn & vec3(0xffffu))) * 1.52587890625e-5;
}

fn quantise_one(signal: f32, limit: f32, noise: f32) -> f32 {
    let code = clamp(floor(signal * limit + 0.5 + noise), 0.0, limit);
    return select(select(code, limit, signal >= 1.0), 0.0, signal <= 0.0);
}

fn quantise(v: vec3<f32>, limit: f32, noise: vec3<f32>) -> vec3<f32> {
    return vec3(
        quantise_one(v.x, limit, noise.x),
        quantise_one(v.y, limit, noise.y),
        quantise_one(v.z, limit, noise.z),
    );
}
