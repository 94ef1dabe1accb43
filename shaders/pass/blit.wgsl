// The last step to a window: the finished picture, fitted into the window, on a neutral surround.

struct Placement {
    // Position and size of the picture in the window, in pixels.
    origin: vec2<f32>,
    size: vec2<f32>,
    surround: vec4<f32>,
}

@group(0) @binding(0) var picture: texture_2d<f32>;
@group(0) @binding(1) var smooth_sampler: sampler;
@group(0) @binding(2) var<uniform> placement: Placement;

@vertex
fn corner(@builtin(vertex_index) index: u32) -> @builtin(position) vec4<f32> {
    // One triangle that covers the window.
    return vec4(f32(index & 1u) * 4.0 - 1.0, f32(index >> 1u) * 4.0 - 1.0, 0.0, 1.0);
}

@fragment
fn fill(@builtin(position) at: vec4<f32>) -> @location(0) vec4<f32> {
    let place = (at.xy - placement.origin) / placement.size;
    if any(place < vec2(0.0)) || any(place >= vec2(1.0)) {
        return placement.surround;
    }
    let pixels = vec2<f32>(textureDimensions(picture));
    if all(placement.size == pixels) {
        // Pixel for pixel: no filter touches the values.
        return textureLoad(picture, vec2<i32>(place * pixels), 0);
    }
    return textureSampleLevel(picture, smooth_sampler, place, 0.0);
}
