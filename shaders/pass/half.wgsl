// Numbers as half floats hold them, rounded to nearest, ties to even, and held within ±65504: stores cut off what does
// not fit, and so does packing on some GPUs (seen on an H100). Under 2⁻¹⁴ a store may still cut off, by 2⁻²⁴ at most.

fn nearest_halves(v: vec3<f32>) -> vec3<f32> {
    let bits = bitcast<vec3<u32>>(clamp(v, vec3(-65504.0), vec3(65504.0)));
    let rounded = bits + vec3(0x0fffu) + ((bits >> vec3(13u)) & vec3(1u));
    return bitcast<vec3<f32>>(rounded & vec3(0xffffe000u));
}
