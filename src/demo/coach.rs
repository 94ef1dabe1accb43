//! Inside a lit coach: what is seen through its windows, and the light that comes out of them.

use super::field::Ray;
use super::noise::{cell, fractal, plane, repeat};
use super::vector::{V3, mix, smooth, v3};

/// The side of the train that the camera sees is the plane x = this.
pub const SIDE: f32 = 4.4;
/// Distance from window to window, and the first one's middle.
pub const PITCH: f32 = 1.95;
pub const FIRST: f32 = 11.4;
/// Windows, counted from the front; after every eighth a gap for doors and couplings.
pub const WINDOWS: i32 = 30;
/// Middle and half sizes of a window.
pub const MIDDLE: f32 = 2.28;
pub const HALF: [f32; 2] = [0.66, 0.44];
/// How far the panes lie behind it.
pub const SUNK: f32 = 0.012;
/// Light of the lamps inside, before it is weakened.
const WARM: V3 = v3(1.0, 0.64, 0.30);

/// Place along the train within its window bay, and the bay's number, if there is a window.
pub fn bay(z: f32) -> (f32, Option<i32>) {
    let (u, i) = repeat(z - FIRST, PITCH);
    (u, ((0..WINDOWS).contains(&i) && i % 9 != 8).then_some(i))
}

/// What a ray that meets the window plane sees behind it at `time`.
pub fn inside(ray: &Ray, time: f32) -> V3 {
    let t = (SIDE + SUNK - ray.from.x) / ray.to.x;
    let p = ray.at(t);
    let (u, Some(i)) = bay(p.z) else {
        return V3::ZERO;
    };
    // Not every bay is as bright.
    let power = 0.75 + 0.5 * cell(i / 3, 1, 200);
    let d = ray.to;
    // To the far wall or the ceiling, whichever comes first.
    let far = (2.45) / d.x;
    let roof = if d.y > 1e-4 { (3.12 - p.y) / d.y } else { f32::MAX };
    let back = p + d * far.min(roof);
    let mut light = if roof < far {
        // A row of lamps along the middle of the ceiling, with gaps.
        let tube = smooth(0.16, 0.10, (back.x - SIDE - 1.95).abs())
            * smooth(0.8, 0.72, repeat(back.z, 1.95).0.abs());
        WARM * 0.34 + v3(1.0, 0.74, 0.44) * (6.0 * tube)
    } else {
        let v = back.y;
        let (bu, _) = repeat(back.z - FIRST, PITCH);
        let pane = smooth(0.02, -0.02, (bu.abs() - HALF[0]).max((v - MIDDLE).abs() - HALF[1]));
        let wall = WARM
            * (0.10 + 0.34 * smooth(1.6, 3.1, v).powi(2))
            * (1.0 + 0.12 * fractal(3.0 * back.z, 6.0 * v, 3, 202));
        let wall = wall * (1.0 - 0.5 * smooth(0.03, 0.0, (v - 2.74).abs() - 0.03));
        // A globe of glass on the wall between two windows.
        let globe = ((repeat(back.z - FIRST + 0.5 * PITCH, PITCH).0).powi(2) + (v - 2.62).powi(2)).sqrt();
        let wall =
            wall + v3(1.0, 0.70, 0.38) * (5.0 * smooth(0.085, 0.06, globe) + 0.35 * (-globe / 0.16).exp());
        // The far windows mirror the room.
        mix(wall, WARM * (0.10 + 0.06 * plane(2.0 * back.z, 2.0 * v, 204)), pane)
    };
    // Seat backs between the bays, in the near and the far row.
    for (deep, shade) in [(1.8f32, 0.24), (0.45, 0.15)] {
        let q = p + d * (deep / d.x);
        let (s, j) = repeat(q.z - FIRST + 0.5 * PITCH, PITCH);
        let top = 2.10 + 0.02 * (cell(j, 3, 206) - 0.5);
        let body = (s.abs() - 0.17 + 0.10 * smooth(top - 0.25, top, q.y)).max(q.y - top);
        let cloth = v3(0.5, 0.16, 0.09) * shade * (0.5 + 0.9 * smooth(1.5, top, q.y));
        light = mix(
            light,
            cloth + WARM * (0.30 * smooth(0.03, 0.0, (q.y - top).abs()) * shade),
            smooth(0.012, -0.012, body),
        );
        light = traveller(light, q, d, deep, time);
    }
    // Breath on the pane, and rime in its corners.
    let edge = (u.abs() / HALF[0]).max(((p.y - MIDDLE) / HALF[1]).abs());
    let low = (MIDDLE - p.y) / HALF[1];
    let mist = smooth(0.5, 1.4, 0.35 * low + 0.55 * edge + 0.5 * fractal(3.0 * p.z, 3.0 * p.y, 4, 208));
    light = mix(light, WARM * 0.30, 0.55 * mist);
    // Curtains, tied back at either side.
    let drawn = HALF[0] - 0.10 - 0.13 * smooth(0.1, -0.9, (p.y - MIDDLE) / HALF[1]).powi(2);
    let folds = 0.6 + 0.4 * (70.0 * u + 5.0 * p.y).sin();
    light = mix(light, v3(0.30, 0.085, 0.045) * folds, smooth(drawn - 0.01, drawn + 0.01, u.abs()) * 0.92);
    light * (3.6 * power)
}

/// Someone who sits in this row, as a shape against the light.
fn traveller(behind: V3, q: V3, to: V3, deep: f32, time: f32) -> V3 {
    let (s, j) = repeat(q.z - FIRST, PITCH);
    // Across the line of sight, not along the train: they are as round from the side as from the front.
    let across = to.x / (to.x * to.x + to.z * to.z).sqrt();
    let h = |k| cell(j, k, if deep < 1.0 { 210 } else { 211 });
    if h(0) > 0.72 {
        return behind;
    }
    // They sit at either side of the bay, and are never quite still.
    let side = if h(1) < 0.5 { -1.0f32 } else { 1.0 };
    let sway = 0.018 * (0.9 * time + 6.3 * h(2)).sin() + 0.010 * (2.1 * time + 6.3 * h(3)).sin();
    let nod = 0.010 * (1.3 * time + 6.3 * h(4)).sin();
    let tall = 2.20 + 0.13 * h(5);
    let (x, y) = ((s - side * 0.30) * across - sway, q.y - tall - nod);
    let face = side * 0.035;
    let head = ((x + face * 0.4) / 0.105).powi(2) + (y / 0.135).powi(2);
    let nose = ((x + side * 0.098) / 0.028).powi(2) + ((y + 0.02) / 0.028).powi(2);
    let hair = ((x - side * 0.02) / 0.118).powi(2) + ((y - 0.035) / 0.125).powi(2);
    let neck = (x / 0.062).powi(2) + ((y + 0.14) / 0.11).powi(2);
    let body = ((x - side * 0.04) / 0.245).powi(2) + ((y + 0.50) / 0.34).powi(2);
    let shape = head.min(nose).min(hair).min(neck).min(body);
    let cover = smooth(1.12, 0.88, shape) * 0.97;
    let tone = mix(v3(0.040, 0.022, 0.012), v3(0.130, 0.070, 0.040), h(6));
    // Lamps overhead catch hair and shoulders.
    let rim = smooth(0.72, 1.0, shape) * smooth(-0.6, 0.12, y) * 0.32;
    let skin =
        v3(0.20, 0.10, 0.045) * smooth(0.9, 0.5, head) * smooth(1.0, 1.3, hair + 0.25 * side * x / 0.1);
    mix(behind, tone * 0.55 + WARM * (rim * (0.2 + 0.4 * h(7))) + skin * 0.8, cover)
}

/// Light of the windows at a place outside with normal `n`, in irradiance over π: their glow, and the
/// lamps themselves where they show through a pane.
pub fn outside(p: V3, n: V3) -> V3 {
    let away = SIDE - p.x;
    if away <= 0.02 {
        return V3::ZERO;
    }
    let mut sum = 0.0;
    let nearest = ((p.z - FIRST) / PITCH).round() as i32;
    for i in (nearest - 5).max(0)..(nearest + 6).min(WINDOWS) {
        if i % 9 == 8 {
            continue;
        }
        let power = 0.75 + 0.5 * cell(i / 3, 1, 200);
        let z = FIRST + i as f32 * PITCH;
        let to = v3(away, MIDDLE - p.y, z - p.z);
        let d2 = to.dot(to).max(0.3);
        let d = d2.sqrt();
        let cosines = (n.dot(to) / d).max(0.0) * (away / d);
        let area = 4.0 * HALF[0] * HALF[1];
        sum += power * 0.75 * area * cosines / (std::f32::consts::PI * d2);
        // Lamps 1.2 m behind the pane: a patch on the snow for each pair of lamp and pane.
        for k in -1..=1 {
            let lamp = v3(SIDE + 1.2, 3.08, z + k as f32 * PITCH);
            let way = lamp - p;
            let at = p + way * (away / way.x);
            let blur = 0.05 + 0.05 * away;
            let through = smooth(blur, -blur, (at.z - z).abs() - HALF[0])
                * smooth(blur, -blur, (at.y - MIDDLE).abs() - HALF[1]);
            if through > 0.0 {
                let d2 = way.dot(way);
                sum += power * through * 2.4 * (n.dot(way) / d2.sqrt()).max(0.0) / d2;
            }
        }
    }
    WARM * sum
}
