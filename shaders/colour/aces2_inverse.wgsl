// Twin of src/colour/aces2_inverse.rs: the inverse of the ACES 2.0 output transform. Its tables are the second row of
// `tables`; the numbers come from Aces2::inverse_uniform, in this order.

struct Aces2Inverse {
    from_encoding: Matrix,
    to_cone: Matrix,
    from_cone: Matrix,
    forward: Aces2,
}

fn aces2_toe_inverse(y: f32, limit: f32, rise: f32, bend: f32) -> f32 {
    let k_2 = max(bend, 0.001);
    let k_1 = sqrt(rise * rise + k_2 * k_2);
    let k_3 = (limit + k_1) / (limit + k_2);
    let toe = y * (y + k_1) / (k_3 * max(y + k_2, 0.01 * k_2));
    return select(toe, y, y > limit);
}

fn aces2_expand_chroma(
    n: Aces2, m: f32, a: f32, j: f32, reach: f32, cos: f32, sin: f32,
) -> f32 {
    let norm = aces2_chroma_norm(n, cos, sin);
    let share = j * n.of_j_max;
    let rest = max(1.0 - share, 0.0);
    let limit = a * n.of_a_max * reach / norm;
    let floor_of_bend = sqrt(share * share + n.expand_floor);
    let expanded = aces2_toe_inverse(m / norm, limit, share * n.compress, rest);
    return norm * (limit - aces2_toe_inverse(limit - expanded, limit - 0.001, rest * n.expand, floor_of_bend));
}

// J and M. The loop ends at its foot: see unpack_samples.
fn aces2_expand_gamut(n: Aces2, j: f32, m: f32, hue: Aces2Hue) -> vec2<f32> {
    let threshold = aces2_flattening(n, hue);
    var before = vec2(j, m);
    var round = 0;
    loop {
        let line = aces2_line(n, j, m, before.x, hue);
        let boundary = aces2_boundary(n, line, hue);
        let reach = aces2_hull(line.foot, line.slope, n.power_a, n.j_max, hue.reach, n.j_max);
        let start = max(boundary / reach, 0.75) * boundary;
        let over = m - start;
        let inner = boundary - start;
        if boundary <= 0.0 || over <= 0.0 || inner <= 0.0 {
            before = vec2(j, m);
            break;
        }
        let outer = reach - start;
        let scale = outer / (outer / inner - 1.0);
        let moved = start + scale * over / max(scale - over, 0.001 * scale);
        before = vec2(line.foot + moved * line.slope, moved);
        round++;
        if round >= 4 || before.x <= threshold {
            break;
        }
    }
    return before;
}

fn aces2_inverse(i: Aces2Inverse, tone: ToneScale, light_: vec3<f32>) -> vec3<f32> {
    let n = i.forward;
    let limited = clamp(transform(i.from_encoding, light_), vec3(0.0), vec3(1.0));
    let response = transform(n.to_opponent, aces2_cone_compress(transform(i.to_cone, limited)));
    if response.x <= 0.0 {
        return vec3(0.0);
    }
    let m = sqrt(response.y * response.y + response.z * response.z);
    let has_hue = m > 0.0;
    let some = select(1.0, m, has_hue);
    let cos = select(1.0, response.y / some, has_hue);
    let sin = select(0.0, response.z / some, has_hue);

    let j = 100.0 * power(response.x, n.power_j);
    var a = response.x;
    var chroma = 0.0;
    if has_hue && j <= n.j_max {
        let hue = aces2_at_hue(aces2_hue(cos, sin), 1);
        let before = aces2_expand_gamut(n, j, m, hue);
        a = max(power(before.x / 100.0, n.power_a), 1e-6);
        chroma = aces2_expand_chroma(n, before.y, a, before.x, hue.reach, cos, sin);
    }
    let light = tone_scale_inverse_one(tone, aces2_cone_expand_one(n.white * a) / n.cone_of_light);
    let a_scene = aces2_cone_compress_one(light * exp_2(-n.log_light)) * n.of_white;
    let m_scene = chroma * a_scene / a;
    let cone = aces2_cone_expand(transform(n.from_opponent, vec3(a_scene, m_scene * cos, m_scene * sin)));
    return clamp(transform(i.from_cone, cone), vec3(0.0), vec3(n.highest));
}
