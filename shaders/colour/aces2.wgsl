// Twin of src/colour/aces2.rs: the ACES 2.0 output transform. The first row of `tables` holds the texels that
// Aces2::texels describes; the numbers come from Aces2::uniform, in this order. Divisions that the Rust twin has one by
// one share a reciprocal here: a GPU computes those, roots, logarithms and powers of two at an eighth of the rate of the
// rest.

struct Aces2 {
    to_cone: Matrix,
    to_opponent: Matrix,
    from_opponent: Matrix,
    from_cone: Matrix,
    to_encoding: Matrix,
    highest: f32,
    white: f32,
    log_light: f32,
    cone_of_light: f32,
    power_j: f32,
    power_a: f32,
    of_a_max: f32,
    compress: f32,
    expand: f32,
    expand_floor: f32,
    chroma_scale: f32,
    j_max: f32,
    j_mid: f32,
    focus: f32,
    power_low: f32,
    of_j_max: f32,
    of_white: f32,
}

struct Aces2Hue {
    reach: f32,
    cusp_j: f32,
    cusp_m: f32,
    power_top: f32,
}

struct Aces2Line {
    foot: f32,
    slope: f32,
    cusp_foot: f32,
}

fn aces2_cone_compress_one(x: f32) -> f32 {
    let p = power(abs(x), 0.42);
    let y = p / (p + 27.13);
    return select(y, -y, x < 0.0);
}

fn aces2_cone_expand_one(y: f32) -> f32 {
    let held = min(abs(y), 0.99);
    let x = power(27.13 * held / (1.0 - held), 2.3809524);
    return select(x, -x, y < 0.0);
}

fn aces2_cone_compress(v: vec3<f32>) -> vec3<f32> {
    return vec3(aces2_cone_compress_one(v.x), aces2_cone_compress_one(v.y), aces2_cone_compress_one(v.z));
}

fn aces2_cone_expand(v: vec3<f32>) -> vec3<f32> {
    return vec3(aces2_cone_expand_one(v.x), aces2_cone_expand_one(v.y), aces2_cone_expand_one(v.z));
}

// No built-in arc tangent: WGSL lets those err by more than the tables bear.
fn aces2_hue(cos: f32, sin: f32) -> f32 {
    let x = abs(cos);
    let y = abs(sin);
    let z = min(x, y) / max(x, y);
    let q = z * z;
    let inner = 11.3490421 + q * (-7.58214554 + q * (4.56209862 + q * (-1.92537849 + q * 0.390286501)));
    let angle = z * (57.2955567 + q * (-19.0894457 + q * inner));
    let quarter = select(angle, 90.0 - angle, y > x);
    let half = select(quarter, 180.0 - quarter, cos < 0.0);
    return select(half, 360.0 - half, sin < 0.0);
}

fn aces2_at_hue(hue: f32, row_of_tables: i32) -> Aces2Hue {
    let degree = clamp(i32(hue), 0, 359);
    let starts = textureLoad(tables, vec2(degree, row_of_tables), 0);
    let reach = textureLoad(tables, vec2(360 + degree, row_of_tables), 0);
    let next = select(0, 1, hue >= starts.y) + select(0, 1, hue >= starts.z) + select(0, 1, hue >= starts.w);
    let row = 720 + i32(starts.x) + next;
    let low = textureLoad(tables, vec2(row, row_of_tables), 0);
    let high = textureLoad(tables, vec2(row + 1, row_of_tables), 0);
    let at = low + (high - low) * ((hue - low.x) / (high.x - low.x));
    return Aces2Hue(reach.x + (reach.y - reach.x) * (hue - f32(degree)), at.y, at.z, at.w);
}

fn aces2_toe(x: f32, limit: f32, rise: f32, bend: f32) -> f32 {
    let k_2 = max(bend, 0.001);
    let k_1 = sqrt(rise * rise + k_2 * k_2);
    let k_3 = (limit + k_1) / (limit + k_2);
    let minus = k_3 * x - k_1;
    let toe = 0.5 * (minus + sqrt(max(minus * minus + 4.0 * k_2 * k_3 * x, 0.0)));
    return select(toe, x, x > limit);
}

fn aces2_chroma_norm(n: Aces2, cos: f32, sin: f32) -> f32 {
    let cos_2 = cos * cos - sin * sin;
    let sin_2 = 2.0 * cos * sin;
    let cos_3 = cos * cos_2 - sin * sin_2;
    let sin_3 = sin * cos_2 + cos * sin_2;
    return n.chroma_scale * (77.12896 + 11.34072 * cos + 16.46899 * cos_2 + 7.8838 * cos_3
        + 14.66441 * sin - 6.37224 * sin_2 + 9.19364 * sin_3);
}

fn aces2_compress_chroma(
    n: Aces2, m: f32, a: f32, j: f32, reach: f32, cos: f32, sin: f32,
) -> f32 {
    let norm = aces2_chroma_norm(n, cos, sin);
    let unit = 1.0 / norm;
    let share = j * n.of_j_max;
    let rest = max(1.0 - share, 0.0);
    let limit = a * n.of_a_max * reach * unit;
    let floor_of_bend = sqrt(share * share + n.expand_floor);
    let expanded = limit - aces2_toe(limit - m * unit, limit - 0.001, rest * n.expand, floor_of_bend);
    return norm * aces2_toe(expanded, limit, share * n.compress, rest);
}

// Twice a number and its divisor, which make the foot of a line. `share` is M over the distance of the focus,
// `square` that over J of the focus.
fn aces2_foot(j: f32, share: f32, square: f32, focus_j: f32, j_max: f32) -> vec2<f32> {
    let is_below = j < focus_j;
    let linear = select(1.0 + share + j_max * square, 1.0 - share, is_below);
    let free = select(j_max * share + j, j, is_below);
    let inside = linear * linear + select(-4.0, 4.0, is_below) * square * free;
    return vec2(free, linear + sqrt(max(inside, 0.0)));
}

fn aces2_hull(foot: f32, slope: f32, exponent: f32, cusp_j: f32, cusp_m: f32, cusp_foot: f32) -> f32 {
    let rise = cusp_j - slope * cusp_m;
    let unit = 1.0 / (cusp_foot * rise);
    return cusp_foot * cusp_foot * unit * cusp_m * power(foot * rise * unit, exponent);
}

// The J above which lines depend on it.
fn aces2_flattening(n: Aces2, hue: Aces2Hue) -> f32 {
    return hue.cusp_j + (n.j_max - hue.cusp_j) * 0.3;
}

// The line through (J, M) that a colour of lightness `before` is moved on.
fn aces2_line(n: Aces2, j: f32, m: f32, before: f32, hue: Aces2Hue) -> Aces2Line {
    let focus_j = hue.cusp_j + (n.j_mid - hue.cusp_j) * min(1.3 - hue.cusp_j * n.of_j_max, 1.0);
    let threshold = aces2_flattening(n, hue);
    var distance_ = n.focus;
    if before > threshold {
        let tens = 0.30103 * log_2((n.j_max - threshold) / max(n.j_max - before, 1e-4));
        distance_ = distance_ * (1.0 + tens * tens);
    }
    let unit = 1.0 / (focus_j * distance_);
    let of_distance = focus_j * unit;
    let here = aces2_foot(j, m * of_distance, m * unit, focus_j, n.j_max);
    let cusp = aces2_foot(hue.cusp_j, hue.cusp_m * of_distance, hue.cusp_m * unit, focus_j, n.j_max);
    let both = 2.0 / (here.y * cusp.y);
    let foot = here.x * cusp.y * both;
    let way = select(n.j_max - foot, foot, foot < focus_j);
    let slope = way * (foot - focus_j) * unit;
    return Aces2Line(foot, slope, cusp.x * here.y * both);
}

fn aces2_boundary(n: Aces2, line: Aces2Line, hue: Aces2Hue) -> f32 {
    let low = aces2_hull(line.foot, line.slope, n.power_low, hue.cusp_j, hue.cusp_m, line.cusp_foot);
    let top = aces2_hull(
        n.j_max - line.foot, -line.slope, hue.power_top, n.j_max - hue.cusp_j, hue.cusp_m, n.j_max - line.cusp_foot,
    );
    // A soft minimum, 0.12 of the cusp's M wide.
    let near = max(0.12 * hue.cusp_m - abs(low - top), 0.0);
    return min(low, top) - near * near * near * 11.574074 / (hue.cusp_m * hue.cusp_m);
}

// Achromatic response and colourfulness.
fn aces2_compress_gamut(n: Aces2, a: f32, j: f32, m: f32, hue: Aces2Hue) -> vec2<f32> {
    let line = aces2_line(n, j, m, j, hue);
    let boundary = aces2_boundary(n, line, hue);
    if boundary <= 0.0 {
        return vec2(a, 0.0);
    }
    if m <= 0.75 * boundary {
        return vec2(a, m);
    }
    let reach = aces2_hull(line.foot, line.slope, n.power_a, n.j_max, hue.reach, n.j_max);
    let start = max(boundary / reach, 0.75) * boundary;
    let over = m - start;
    let inner = boundary - start;
    if over <= 0.0 || inner <= 0.0 {
        return vec2(a, m);
    }
    let outer = reach - start;
    let product = outer * inner;
    let moved = start + product * over / (product + over * (outer - inner));
    return vec2(power((line.foot + moved * line.slope) * 0.01, n.power_a), moved);
}

fn aces2(n: Aces2, tone: ToneScale, acescg: vec3<f32>) -> vec3<f32> {
    let held = clamp(acescg, vec3(0.0), vec3(n.highest));
    let response = transform(n.to_opponent, aces2_cone_compress(transform(n.to_cone, held)));
    let squared = response.y * response.y + response.z * response.z;
    let has_hue = squared > 0.0;
    let unit = inverseSqrt(select(1.0, squared, has_hue));
    let m = squared * unit;
    let cos = select(1.0, response.y * unit, has_hue);
    let sin = select(0.0, response.z * unit, has_hue);

    // The tone scale goes by way of the light that a neutral of the same J has.
    let seen = min(n.white * response.x, 0.99);
    let logarithm = 2.3809524 * log_2(27.13 * seen / (1.0 - seen)) + n.log_light;
    let toned = tone_scale_of(tone, exp_2(tone.g * (logarithm - log_2(exp_2(logarithm) + tone.s_2))));
    let p = power(n.cone_of_light * toned, 0.42);
    let a = p / (p + 27.13) * n.of_white;
    let j = 100.0 * power(a, n.power_j);
    var out = vec2(a, 0.0);
    if has_hue && j <= n.j_max {
        let hue = aces2_at_hue(aces2_hue(cos, sin), 0);
        let chroma = aces2_compress_chroma(n, m * a / max(response.x, 1e-20), a, j, hue.reach, cos, sin);
        out = aces2_compress_gamut(n, a, j, chroma, hue);
    }
    let cone = aces2_cone_expand(transform(n.from_opponent, vec3(out.x, out.y * cos, out.y * sin)));
    return transform(n.to_encoding, clamp(transform(n.from_cone, cone), vec3(0.0), vec3(1.0)));
}
