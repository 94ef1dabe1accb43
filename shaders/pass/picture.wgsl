// The source of a pass that reads what an earlier pass wrote, in place of a frame's planes.

@group(0) @binding(0) var source_picture: texture_2d<f32>;
