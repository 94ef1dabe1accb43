// A plain copy through a compute pass: the yardstick that passes are measured beside.

@group(0) @binding(0) var source_picture: texture_2d<f32>;
@group(0) @binding(1) var target_picture: texture_storage_2d<rgba16float, write>;

@compute @workgroup_size(64, 1)
fn main(@builtin(global_invocation_id) id: vec3<u32>) {
    if any(id.xy >= textureDimensions(target_picture)) {
        return;
    }
    textureStore(target_picture, vec2<i32>(id.xy), textureLoad(source_picture, vec2<i32>(id.xy), 0));
}
