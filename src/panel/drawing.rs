//! A map, drawn from its own file: what is where is not known, so controls stand in the map's order.

use super::osc::Layout;
use super::{Binding, Button, Coding, LSB_ABOVE, Map, Mode, Registered, Source, Takeover, When};
use std::fmt::Write;

/// Boxes in a row.
const ROW: usize = 8;
/// Size of a box, and what is between two.
const BOX: (usize, usize) = (156, 118);
const GAP: usize = 8;
const MARGIN: usize = 16;
const HEAD: usize = 34;

/// Height of a bank's name.
const TITLE: usize = 26;

/// What belongs together: what is always in force, then each bank.
struct Group<'a> {
    bank: Option<&'a str>,
    controls: Vec<&'a Binding>,
    buttons: Vec<&'a Button>,
}

fn groups(map: &Map) -> Vec<Group<'_>> {
    let banks = map.banks.iter().enumerate().map(|(at, bank)| (Some(at), Some(&*bank.name)));
    std::iter::once((None, None))
        .chain(banks)
        .map(|(at, bank)| Group {
            bank,
            controls: map.controls.iter().filter(|c| c.bank == at).collect(),
            buttons: map.buttons.iter().filter(|b| b.bank == at).collect(),
        })
        .filter(|group| !group.controls.is_empty() || !group.buttons.is_empty())
        .collect()
}

/// A drawing as SVG: knobs with their ends, endless ones as a broken ring, buttons; with their names, messages and
/// what they do, bank by bank.
pub fn svg(map: &Map) -> String {
    let groups = groups(map);
    let widest =
        groups.iter().map(|g| g.controls.len().max(g.buttons.len())).max().unwrap_or(1).clamp(1, ROW);
    let width = 2 * MARGIN + widest * (BOX.0 + GAP) - GAP;
    let (mut body, mut y) = (String::new(), MARGIN + HEAD);
    for group in &groups {
        if let Some(bank) = group.bank {
            _ = writeln!(
                body,
                "<text x=\"{MARGIN}\" y=\"{}\" font-size=\"14\" text-anchor=\"start\">{}</text>",
                y + 16,
                escaped(bank)
            );
            y += TITLE;
        }
        for row in group.controls.chunks(ROW) {
            for (column, control) in row.iter().enumerate() {
                draw_control(&mut body, MARGIN + column * (BOX.0 + GAP), y, map, control);
            }
            y += BOX.1 + GAP;
        }
        for row in group.buttons.chunks(ROW) {
            for (column, button) in row.iter().enumerate() {
                draw_button(&mut body, MARGIN + column * (BOX.0 + GAP), y, map, button);
            }
            y += BOX.1 + GAP;
        }
    }
    sheet(&map.name, width, y, &body)
}

/// The whole drawing, around boxes that end at `y`.
fn sheet(name: &str, width: usize, y: usize, body: &str) -> String {
    let height = y + MARGIN - GAP;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} \
         {height}\" font-family=\"sans-serif\" text-anchor=\"middle\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
         <text x=\"{MARGIN}\" y=\"{}\" font-size=\"17\" text-anchor=\"start\">{}</text>\n{body}</svg>\n",
        MARGIN + 16,
        escaped(name)
    )
}

/// The same of a tablet's layout: faders, endless knobs, buttons, with the addresses that they send to.
pub fn layout_svg(layout: &Layout) -> String {
    let (mut body, mut y) = (String::new(), MARGIN + HEAD);
    let most = layout.faders.len().max(layout.pushes.len()).clamp(1, ROW);
    let x = |column: usize| MARGIN + column * (BOX.0 + GAP);
    for row in layout.faders.chunks(ROW) {
        for (column, fader) in row.iter().enumerate() {
            let x = x(column);
            frame(&mut body, x, y);
            match fader.steps {
                Some(_) => knob(&mut body, x, y, true),
                None => slider(&mut body, x, y),
            }
            lines(&mut body, x, y, &fader.label, &fader.osc, &fader.target);
        }
        y += BOX.1 + GAP;
    }
    for row in layout.pushes.chunks(ROW) {
        for (column, push) in row.iter().enumerate() {
            let x = x(column);
            frame(&mut body, x, y);
            key(&mut body, x, y);
            lines(&mut body, x, y, &push.label, &push.osc, &push.action);
        }
        y += BOX.1 + GAP;
    }
    sheet(&layout.name, x(most) - GAP + MARGIN, y, &body)
}

/// The same as tables of Markdown.
pub fn layout_table(layout: &Layout) -> String {
    let mut out = String::from("| control | sends to | moves |\n|---|---|---|\n");
    for f in &layout.faders {
        let how = match f.steps {
            Some(steps) => format!(", {steps} steps for 1"),
            None => format!(", 0 to 1, {}", if f.takeover == Takeover::Jump { "jump" } else { "pickup" }),
        };
        _ = writeln!(out, "| {} | `{}`{how} | {} |", f.label, f.osc, f.target);
    }
    out += "\n| button | sends to | does |\n|---|---|---|\n";
    for p in &layout.pushes {
        _ = writeln!(out, "| {} | `{}` | {} |", p.label, p.osc, p.action);
    }
    out
}

fn draw_control(out: &mut String, x: usize, y: usize, map: &Map, control: &Binding) {
    frame(out, x, y);
    knob(out, x, y, control.coding.is_relative());
    lines(out, x, y, &control.label, &sends(map, control), &moves(control));
}

fn knob(out: &mut String, x: usize, y: usize, relative: bool) {
    let (cx, cy) = (x + BOX.0 / 2, y + 30);
    let dashes = if relative { " stroke-dasharray=\"3 4\"" } else { "" };
    _ = writeln!(
        out,
        "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"20\" fill=\"none\" stroke=\"#333\" stroke-width=\"3\"{dashes}/>"
    );
    if relative {
        _ = writeln!(out, "<circle cx=\"{cx}\" cy=\"{}\" r=\"3\" fill=\"#333\"/>", cy - 11);
    } else {
        // A pointer, and the gap between the ends below.
        _ = writeln!(out, "<path d=\"M{cx} {cy}V{}\" stroke=\"#333\" stroke-width=\"3\"/>", cy - 19);
        _ = writeln!(out, "<path d=\"M{} {}h18\" stroke=\"#fff\" stroke-width=\"7\"/>", cx - 9, cy + 19);
    }
}

/// A fader, half way up.
fn slider(out: &mut String, x: usize, y: usize) {
    let (cx, cy) = (x + BOX.0 / 2, y + 30);
    _ = writeln!(out, "<path d=\"M{cx} {}V{}\" stroke=\"#333\" stroke-width=\"3\"/>", cy - 22, cy + 22);
    let (left, top) = (cx - 11, cy - 5);
    _ = writeln!(out, "<rect x=\"{left}\" y=\"{top}\" width=\"22\" height=\"10\" rx=\"2\" fill=\"#333\"/>");
}

fn draw_button(out: &mut String, x: usize, y: usize, map: &Map, button: &Button) {
    frame(out, x, y);
    key(out, x, y);
    lines(out, x, y, &button.label, &presses(map, button), &button.action);
}

fn key(out: &mut String, x: usize, y: usize) {
    let (bx, by) = (x + BOX.0 / 2 - 26, y + 16);
    _ = writeln!(
        out,
        "<rect x=\"{bx}\" y=\"{by}\" width=\"52\" height=\"28\" rx=\"5\" fill=\"none\" stroke=\"#333\" stroke-width=\"3\"/>"
    );
}

/// The same as tables of Markdown, bank by bank.
pub fn table(map: &Map) -> String {
    let mut out = String::new();
    let cell = |text: &str| text.replace('|', "\\|");
    for group in groups(map) {
        let begin = |out: &mut String, head: &str| {
            if !out.is_empty() {
                out.push('\n');
            }
            out.push_str(head);
        };
        if let Some(bank) = group.bank {
            begin(&mut out, &format!("Bank “{bank}”:\n"));
        }
        if !group.controls.is_empty() {
            begin(&mut out, "| control | sends | moves | is told |\n|---|---|---|---|\n");
            for c in &group.controls {
                let (sends, moves) = (sends(map, c), moves(c));
                _ = writeln!(
                    out,
                    "| {} | {} | {} | {} |",
                    cell(&c.label),
                    cell(&sends),
                    cell(&moves),
                    told(c)
                );
            }
        }
        if !group.buttons.is_empty() {
            begin(&mut out, "| button | sends | does |\n|---|---|---|\n");
            for b in &group.buttons {
                let sends = presses(map, b);
                _ = writeln!(out, "| {} | {} | {} |", cell(&b.label), cell(&sends), cell(&b.action));
            }
        }
    }
    out
}

fn frame(out: &mut String, x: usize, y: usize) {
    let (w, h) = BOX;
    _ = writeln!(
        out,
        "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"4\" fill=\"#f4f4f4\" stroke=\"#ccc\"/>"
    );
}

fn lines(out: &mut String, x: usize, y: usize, label: &str, message: &str, does: &str) {
    let middle = x + BOX.0 / 2;
    // Letters are a little wider than half their height.
    let fits = |size: usize| (BOX.0 - 6) * 9 / (5 * size);
    let mut line = |dy: usize, size: usize, ink: &str, text: &str, shown: &str| {
        _ = writeln!(
            out,
            "<text x=\"{middle}\" y=\"{}\" font-size=\"{size}\" fill=\"{ink}\"><title>{}</title>{}</text>",
            y + dy,
            escaped(text),
            escaped(shown)
        );
    };
    line(68, 13, "#000", label, &cut(label, fits(13)));
    line(83, 10, "#555", message, &cut(message, fits(10)));
    // What it does has two lines, broken between words where they are.
    let (first, rest) = match does.char_indices().nth(fits(10)) {
        Some((end, _)) => does.split_at(does[..end].rfind(' ').map_or(end, |space| space + 1)),
        None => (does, ""),
    };
    line(98, 10, "#000", does, first.trim_end());
    if !rest.is_empty() {
        line(110, 10, "#000", does, &cut(rest, fits(10)));
    }
}

/// The first so many characters.
fn cut(text: &str, most: usize) -> String {
    match text.chars().count() > most {
        true => text.chars().take(most.saturating_sub(1)).chain(['…']).collect(),
        false => text.to_owned(),
    }
}

/// Where a message counts: on which channel, in which layer.
fn on(map: &Map, channel: Option<u8>, layer: Option<usize>) -> String {
    let channel = channel.map_or(String::new(), |c| format!(", channel {}", c + 1));
    let layer = layer.map_or(String::new(), |layer| format!(", in layer “{}”", map.layers[layer]));
    channel + &layer
}

/// What a control sends, in words.
fn sends(map: &Map, control: &Binding) -> String {
    let coding = match control.coding {
        Coding::TwosComplement => "two's complement".to_owned(),
        other => other.name().replace('-', " "),
    };
    let what = match control.source {
        Source::Cc(cc) if control.fine => format!("CC {cc} and {}, 14 bits", cc + LSB_ABOVE),
        Source::Cc(cc) => format!("CC {cc}, {coding}"),
        Source::Steps { up, down } => format!("CC {up} up, CC {down} down"),
        Source::Note(note) => format!("note {note}"),
        Source::Bend => "pitch bend".to_owned(),
        Source::Pressure => "channel pressure".to_owned(),
        Source::KeyPressure(key) => format!("pressure on key {key}"),
        Source::Registered(Registered { registered, number }) => {
            format!("{} {number}, {coding}", if registered { "RPN" } else { "NRPN" })
        }
    };
    what + &on(map, control.channel, control.layer)
}

fn presses(map: &Map, button: &Button) -> String {
    let what = match button.source {
        Source::Cc(cc) => format!("CC {cc}"),
        Source::Note(note) => format!("note {note}"),
        _ => "something else".to_owned(),
    };
    let mode = if button.mode == Mode::Toggle { ", by turns" } else { "" };
    format!("{what}{mode}{}", on(map, button.channel, button.layer))
}

fn moves(control: &Binding) -> String {
    let one = |t: &super::Target| {
        let by = (t.by * control.scale * 1000.0).round() / 1000.0;
        match by {
            1.0 => Some(t.address.to_string()),
            // A ball's plane that lies straight.
            0.0 => None,
            by => Some(format!("{} × {by}", t.address)),
        }
    };
    control.targets.iter().filter_map(one).collect::<Vec<_>>().join(", ")
}

fn told(control: &Binding) -> &'static str {
    match (control.feedback.when, control.feedback.way.is_some() || control.feedback.text.is_some()) {
        (When::Never, _) | (_, false) => "nothing",
        (When::Released, true) => "its value, when let go",
        (When::Always, true) => "its value",
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
