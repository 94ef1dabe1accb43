//! The scopes: what the client's signal is made of, to work by. The vectorscope pushes balance, the waveform lifts exposure.

use egui::{Align2, Color32, FontId, Pos2, Rect, RichText, Sense, Stroke, TextureId, Ui, Vec2, pos2, vec2};

use super::super::look;
use super::{MOUSE, Panes};
use crate::colour::Display;
use crate::engine::{Input, Snapshot};
use crate::gpu::{ScopeOf, ScopeView};
use crate::scope::marks::{BARS, SKIN, Scale, bar, lines};
use crate::scope::{BINS, MOST, SPAN, System, Window};
use crate::show::Output;

/// Traces that are ready to be drawn.
#[derive(Clone, Copy, Debug)]
pub struct TraceTextures {
    pub wave: TextureId,
    pub vector: TextureId,
}

/// What the scopes show, and how.
pub struct ScopePane {
    pub shown: bool,
    pub textures: Option<TraceTextures>,
    /// Has the picture on view traces? Those of another are not shown.
    pub current: bool,
    /// Red, green and blue side by side in place of luma.
    parade: bool,
    scale: Scale,
    view: ScopeView,
    /// How many times the vectorscope's middle is enlarged.
    zoom: f32,
    /// What the engine was last asked for.
    asked: Option<ScopeView>,
    /// Where the vectorscope was pushed last.
    pushed: Option<Pos2>,
    /// The level that is held on the waveform.
    held: Option<f64>,
}

/// What is remembered of the scopes.
#[derive(Clone, Debug, PartialEq)]
pub struct ScopeSettings {
    pub parade: bool,
    pub scale: Scale,
    pub shadows: bool,
    pub brightness: f32,
    pub zoom: f32,
}

impl Default for ScopeSettings {
    fn default() -> Self {
        ScopePane::default().settings()
    }
}

impl Default for ScopePane {
    fn default() -> Self {
        Self {
            shown: false,
            textures: None,
            current: true,
            parade: false,
            scale: Scale::default(),
            view: ScopeView::default(),
            zoom: 1.0,
            asked: None,
            pushed: None,
            held: None,
        }
    }
}

/// Parts of the wave trace: four waveforms side by side over their histograms.
fn part(channel: u32, histogram: bool) -> Rect {
    let (left, top) = (channel as f32 / 4.0, if histogram { 0.5 } else { 0.0 });
    Rect::from_min_max(pos2(left, top), pos2(left + 0.25, top + 0.5))
}

impl Panes {
    /// Draws the scopes, and tells the engine when other ones are wanted.
    pub(super) fn scopes(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        let pane = &mut self.scopes;
        let system = s.show.system(Output::Client);
        pane.view.setting.system = system;
        ui.horizontal_wrapped(|ui| pane.choices(ui));
        let room = ui.available_rect_before_wrap();
        let side = room.height();
        let wide = (room.width() - side - 20.0).max(40.0);
        let wave = Rect::from_min_size(room.min, vec2((wide * 0.72).floor(), side));
        let vector = Rect::from_min_size(pos2(wave.right() + 10.0, room.top()), Vec2::splat(side));
        let histogram = Rect::from_min_max(pos2(vector.right() + 10.0, room.top()), room.max);
        ui.allocate_rect(room, Sense::hover());
        pane.waveform(ui, wave, &s.show.outputs.client.display, inputs);
        pane.vectorscope(ui, vector, system, inputs);
        pane.histogram(ui, histogram);
        pane.ask(inputs);
    }
}

impl ScopePane {
    /// How they are set.
    pub fn settings(&self) -> ScopeSettings {
        ScopeSettings {
            parade: self.parade,
            scale: self.scale,
            shadows: self.view.setting.window == Window::SHADOWS,
            brightness: self.view.brightness,
            zoom: self.zoom,
        }
    }

    /// Sets them so.
    pub fn recall(&mut self, all: &ScopeSettings) {
        (self.parade, self.scale, self.zoom) = (all.parade, all.scale, all.zoom);
        self.view.brightness = all.brightness;
        self.view.setting.window = if all.shadows { Window::SHADOWS } else { Window::WHOLE };
    }

    /// Nobody sees them: the engine need not draw any.
    pub(super) fn hidden(&mut self, inputs: &mut Vec<Input>) {
        if self.asked.take().is_some() {
            inputs.push(Input::Scopes(None));
        }
    }

    /// Tells the engine what is wanted, if that is another thing than before.
    fn ask(&mut self, inputs: &mut Vec<Input>) {
        let wanted = Some(self.view);
        if self.asked != wanted {
            self.asked = wanted;
            inputs.push(Input::Scopes(wanted));
        }
    }

    fn choices(&mut self, ui: &mut Ui) {
        let small = |text: &str| egui::Button::new(RichText::new(text).size(11.0)).small();
        for (of, name, hint) in [
            (ScopeOf::Signal, "client's signal", "what the client's window gets"),
            (
                ScopeOf::Balance,
                "balance alone",
                "what the client's signal would be without the chain: before, look and finish",
            ),
        ] {
            let button = small(name).selected(self.view.of == of);
            if ui.add(button).on_hover_text(hint).clicked() {
                self.view.of = of;
            }
        }
        ui.add_space(8.0);
        for (parade, name) in [(false, "luma"), (true, "red green blue")] {
            if ui.add(small(name).selected(self.parade == parade)).clicked() {
                self.parade = parade;
            }
        }
        ui.add_space(8.0);
        for scale in Scale::ALL {
            if ui.add(small(scale.name()).selected(self.scale == scale)).clicked() {
                self.scale = scale;
            }
        }
        ui.add_space(8.0);
        let window = &mut self.view.setting.window;
        let shadows = *window == Window::SHADOWS;
        let hint = "the lowest quarter of the signal, a 10-bit code to a line";
        if ui.add(small("shadows enlarged").selected(shadows)).on_hover_text(hint).clicked() {
            *window = if shadows { Window::WHOLE } else { Window::SHADOWS };
        }
        ui.add_space(8.0);
        for (name, by) in [("fainter", 0.5), ("brighter", 2.0)] {
            if ui.add(small(name)).on_hover_text("the trace, by a factor of two").clicked() {
                self.view.brightness = (self.view.brightness * by).clamp(0.125, 32.0);
            }
        }
        ui.add_space(8.0);
        for zoom in [1.0, 2.0, 4.0] {
            let name = format!("vectorscope ×{zoom}");
            if ui.add(small(&name).selected(self.zoom == zoom)).clicked() {
                self.zoom = zoom;
            }
        }
    }

    fn waveform(&mut self, ui: &mut Ui, rect: Rect, display: &Display, inputs: &mut Vec<Input>) {
        let response = ui.interact(rect, ui.scope_id().with("waveform"), Sense::click_and_drag());
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, "waveform"));
        let p = ui.painter().with_clip_rect(rect.expand(1.0));
        p.rect_filled(rect, 0.0, look::SCOPE);
        let window = self.view.setting.window;
        let inner = rect.shrink2(vec2(0.0, 6.0));
        let y = |code: f64| inner.bottom() - inner.height() * window.place(code) as f32;
        let light = |nits: f64| {
            let share = nits / display.peak;
            (share <= 1.0).then(|| display.curve.values::<f64>().encode(share))
        };
        // Of lines that would touch, the later ones are left out.
        let mut last = f32::INFINITY;
        for (text, code) in lines(self.scale, &light) {
            let at = y(code);
            if at < inner.top() - 1.0 || (last - at).abs() < 13.0 {
                continue;
            }
            last = at;
            p.hline(rect.left() + 34.0..=rect.right(), at, Stroke::new(1.0, look::LINE));
            let font = FontId::proportional(10.0);
            p.text(pos2(rect.left() + 30.0, at), Align2::RIGHT_CENTER, text, font, look::QUIET);
        }
        // Full range ends where narrow range has its nominal black and white (Rec. ITU-R BT.709-6, item 4.6).
        for (code, narrow) in [(0.0, "narrow 64"), (f64::from(MOST), "narrow 940")] {
            let (at, font) = (y(code), FontId::proportional(10.0));
            if at >= inner.top() - 1.0 {
                p.hline(rect.left() + 34.0..=rect.right(), at, Stroke::new(1.0, look::QUIET));
                let side = if code == 0.0 { Align2::RIGHT_BOTTOM } else { Align2::RIGHT_TOP };
                p.text(pos2(rect.right() - 4.0, at), side, narrow, font, look::QUIET);
            }
        }
        let traces = Rect::from_min_max(pos2(rect.left() + 34.0, inner.top()), inner.max);
        if let Some(textures) = self.textures.filter(|_| self.current) {
            let channels: &[u32] = if self.parade { &[1, 2, 3] } else { &[0] };
            let width = traces.width() / channels.len() as f32;
            for (i, channel) in (0..).zip(channels) {
                let left = traces.left() + width * i as f32;
                let place =
                    Rect::from_min_size(pos2(left + 1.0, traces.top()), vec2(width - 2.0, traces.height()));
                p.image(textures.wave, place, part(*channel, false), Color32::WHITE);
            }
        }
        let code_at = |y: f32| {
            let share = f64::from((inner.bottom() - y) / inner.height()).clamp(0.0, 1.0);
            (share * f64::from(256u32 << window.shift) + f64::from(window.low)) / f64::from(MOST)
        };
        self.lift(&response, &p, traces, &code_at, inputs);
        response.on_hover_text("drag up or down: exposure, so that what is held comes to the pointer");
    }

    /// Exposure by a level that is dragged.
    fn lift(
        &mut self,
        response: &egui::Response,
        p: &egui::Painter,
        traces: Rect,
        level_at: &dyn Fn(f32) -> f64,
        inputs: &mut Vec<Input>,
    ) {
        let pointer = response.interact_pointer_pos().or(response.hover_pos());
        let Some(pointer) = pointer else { return };
        let ink = if response.dragged() { look::BRIGHT } else { look::QUIET };
        let y = pointer.y.clamp(traces.top(), traces.bottom());
        p.hline(traces.x_range(), y, Stroke::new(1.0, ink));
        let level = level_at(y);
        let label = format!("{:.1} %", 100.0 * level);
        p.text(
            pos2(traces.left() + 4.0, y - 1.0),
            Align2::LEFT_BOTTOM,
            label,
            FontId::proportional(11.0),
            ink,
        );
        if response.drag_started() {
            let from = response.ctx.input(|i| i.pointer.press_origin()).map_or(y, |o| o.y);
            self.held = Some(level_at(from));
        }
        if let Some(from) = self.held.filter(|from| response.dragged() && (from - level).abs() > 1e-6) {
            inputs.push(Input::Lift { from, to: level, control: MOUSE });
            self.held = Some(level);
        }
        if response.drag_stopped() {
            self.held = None;
        }
    }

    fn vectorscope(&mut self, ui: &mut Ui, rect: Rect, system: System, inputs: &mut Vec<Input>) {
        let response = ui.interact(rect, ui.scope_id().with("vectorscope"), Sense::click_and_drag());
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, "vectorscope"));
        let p = ui.painter().with_clip_rect(rect);
        p.rect_filled(rect, 0.0, look::SCOPE);
        let bins = BINS as f32 / self.zoom;
        // The middle of a bin lies half a bin from its edge.
        let middle = rect.center() + Vec2::new(0.5, -0.5) * rect.width() / BINS as f32 * self.zoom;
        let per_unit = rect.width() * SPAN as f32 / bins;
        let at = |[cb, cr]: [f64; 2]| middle + vec2(cb as f32, -cr as f32) * per_unit;
        if let Some(textures) = self.textures.filter(|_| self.current) {
            let half = 0.5 / self.zoom;
            let shown = Rect::from_min_max(pos2(0.5 - half, 0.5 - half), pos2(0.5 + half, 0.5 + half));
            p.image(textures.vector, rect, shown, Color32::WHITE);
        }
        let line = Stroke::new(1.0, look::LINE);
        p.line_segment([at([-0.5, 0.0]), at([0.5, 0.0])], line);
        p.line_segment([at([0.0, -0.5]), at([0.0, 0.5])], line);
        for (name, colour) in BARS {
            for (height, ink) in [(0.75, look::QUIET), (1.0, look::LINE)] {
                let place = Rect::from_center_size(at(bar(system, colour, height)), Vec2::splat(8.0));
                p.rect_stroke(place, 0.0, Stroke::new(1.0, ink), egui::StrokeKind::Middle);
            }
            let beside = at(bar(system, colour, 0.87));
            p.text(beside, Align2::CENTER_CENTER, name, FontId::proportional(10.0), look::QUIET);
        }
        let angle = SKIN.to_radians();
        let skin = |radius: f64| at([radius * angle.cos(), radius * angle.sin()]);
        p.extend(egui::Shape::dashed_line(&[skin(0.0), skin(0.42)], Stroke::new(1.0, look::QUIET), 4.0, 4.0));
        p.text(skin(0.45), Align2::CENTER_CENTER, "skin", FontId::proportional(10.0), look::QUIET);
        if let Some(pointer) = response.interact_pointer_pos().filter(|_| response.dragged()) {
            // From where the button went down: what it takes to be a drag counts, too.
            let from = self.pushed.or(ui.input(|i| i.pointer.press_origin())).unwrap_or(pointer);
            self.pushed = Some(pointer);
            let moved = (pointer - from) / per_unit;
            if moved != Vec2::ZERO {
                let by = [f64::from(moved.x), f64::from(-moved.y)];
                inputs.push(Input::Push { by, control: MOUSE });
            }
        } else {
            self.pushed = None;
        }
        response.on_hover_text(
            "drag: balance's offsets push the picture's greys that way, at the same luma of grey; elsewhere the output \
             transform lets luma hold only nearly\nboxes: bars of 75 % and 100 % (SMPTE EG 1, Rec. ITU-R BT.471)\n\
             dashed: 123°, where skin is often found (common practice)",
        );
    }

    fn histogram(&self, ui: &mut Ui, rect: Rect) {
        let response = ui.interact(rect, ui.scope_id().with("histogram"), Sense::hover());
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, "histogram"));
        let p = ui.painter().with_clip_rect(rect);
        p.rect_filled(rect, 0.0, look::SCOPE);
        let inner = rect.shrink(4.0);
        if let Some(textures) = self.textures.filter(|_| self.current) {
            let channels: &[u32] = if self.parade { &[1, 2, 3] } else { &[0] };
            let height = inner.height() / channels.len() as f32;
            for (i, channel) in (0..).zip(channels) {
                let top = inner.top() + height * i as f32;
                let place = Rect::from_min_size(pos2(inner.left(), top), vec2(inner.width(), height - 2.0));
                p.image(textures.wave, place, part(*channel, true), Color32::WHITE);
            }
        }
        let label = |x: Pos2, side: Align2, text: &str| {
            p.text(x, side, text, FontId::proportional(10.0), look::QUIET);
        };
        label(inner.left_bottom(), Align2::LEFT_BOTTOM, "0");
        let most = if self.view.setting.window == Window::SHADOWS { "25 %" } else { "100 %" };
        label(inner.right_bottom(), Align2::RIGHT_BOTTOM, most);
        response.on_hover_text("how many pixels have each level, dark on the left");
    }
}
