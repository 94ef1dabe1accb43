// A level's share of what is spread, and what came up from coarser ones. Twin of src/picture/spread.rs.

struct SpreadUp {
    own: vec4<f32>,
    more: vec4<f32>,
}

@group(0) @binding(0) var level: texture_2d<f32>;
@group(0) @binding(1) var spread_picture: texture_2d<f32>;
@group(0) @binding(3) var<uniform> p: SpreadUp;

fn spread_up(at: vec2<i32>) -> vec3<f32> {
    return p.own.xyz * textureLoad(level, at, 0).xyz + p.more.xyz * spread_between(at);
}
