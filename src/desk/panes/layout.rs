//! Where the panes are: which are on view, how large, what gives way where there is little room, dividers to drag.

use egui::{Rect, Sense, Stroke, Ui, Vec2};

use super::super::look;

/// A pane.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(usize)]
pub(in super::super) enum Pane {
    /// The running order, on the left.
    Order,
    /// The light path, on the right.
    Path,
    /// The panel mirror.
    Mirror,
    /// The scopes.
    Scopes,
    /// The transport, at the foot.
    Transport,
}

impl Pane {
    pub const ALL: [Self; 5] = [Self::Order, Self::Path, Self::Mirror, Self::Scopes, Self::Transport];

    /// What files call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Order => "running-order",
            Self::Path => "light-path",
            Self::Mirror => "panel-mirror",
            Self::Scopes => "scopes",
            Self::Transport => "transport",
        }
    }

    /// What people call it.
    pub fn name(self) -> String {
        self.key().replace('-', " ")
    }

    /// How large it is as it is made, in points; of the mirror, what is in it decides.
    const fn made(self) -> f32 {
        match self {
            Self::Order => 220.0,
            Self::Path => 290.0,
            Self::Mirror => 110.0,
            Self::Scopes => 210.0,
            Self::Transport => 30.0,
        }
    }

    /// How small and how large it can be, in points.
    pub const fn range(self) -> (f32, f32) {
        match self {
            Self::Order => (90.0, 700.0),
            Self::Path => (220.0, 900.0),
            Self::Mirror => (34.0, 600.0),
            Self::Scopes => (110.0, 1200.0),
            Self::Transport => (30.0, 90.0),
        }
    }
}

/// What is to be seen of the panes.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Layout {
    shown: [bool; 5],
    sizes: [Option<f32>; 5],
    /// None of them, whatever else is said.
    pub picture_only: bool,
}

impl Default for Layout {
    fn default() -> Self {
        Self { shown: [true, true, true, false, true], sizes: [None; 5], picture_only: false }
    }
}

/// The share of the window's height that the panel mirror has at most, unless it was dragged.
const MIRROR: f32 = 0.3;
/// The share of the window's width and height that the picture keeps at least, and points.
const PICTURE: [(f32, f32); 2] = [(0.3, 160.0), (0.33, 110.0)];

impl Layout {
    /// Is it to be seen, when any is?
    pub fn shown(&self, pane: Pane) -> bool {
        self.shown[pane as usize]
    }

    pub fn show(&mut self, pane: Pane, shown: bool) {
        self.shown[pane as usize] = shown;
    }

    /// Shows or hides it; where only the picture was on view, shows it alone beside that.
    pub fn toggle(&mut self, pane: Pane) {
        if std::mem::take(&mut self.picture_only) {
            self.shown = [false; 5];
        }
        self.shown[pane as usize] = !self.shown[pane as usize];
    }

    #[cfg(test)]
    pub fn default_size(pane: Pane) -> f32 {
        pane.made()
    }

    /// How large somebody made it, in points.
    pub fn size(&self, pane: Pane) -> Option<f32> {
        self.sizes[pane as usize]
    }

    /// Makes it so large, held to its range, or as it is made.
    pub fn set_size(&mut self, pane: Pane, size: Option<f32>) {
        let (least, most) = pane.range();
        self.sizes[pane as usize] = size.map(|s| s.clamp(least, most));
    }

    /// Sizes of the panes in a window of a size, in points; `None` for one that is not on view, or for which there is no
    /// room. `mirror` is how tall the panel mirror would like to be. The picture keeps a third of the height and of the width.
    pub fn placed(&self, window: Vec2, mirror: f32) -> [Option<f32>; 5] {
        let wanted = |pane: Pane| {
            // Of a panel with many controls a third of a small window is enough; the rest is scrolled to.
            let made = match pane {
                Pane::Mirror => mirror.min(MIRROR * window.y).max(pane.range().0),
                _ => pane.made(),
            };
            (self.shown(pane) && !self.picture_only).then(|| self.size(pane).unwrap_or(made))
        };
        let mut out = Pane::ALL.map(wanted);
        let [across, down] = PICTURE;
        let share = |of: f32, (part, least): (f32, f32)| (of - (of * part).max(least)).max(0.0);
        let foot = out[Pane::Transport as usize].unwrap_or(0.0);
        give_way(&mut out, [Pane::Mirror, Pane::Scopes], share(window.y, down) - foot);
        give_way(&mut out, [Pane::Order, Pane::Path], share(window.x, across));
        // What is not a whole point makes lines that are not sharp.
        out.map(|size| size.map(f32::floor))
    }
}

/// Two panes share what room there is: both shrink by the same part, as far as they can; then the first goes, then the other.
fn give_way(sizes: &mut [Option<f32>; 5], panes: [Pane; 2], room: f32) {
    for left in 0..=2 {
        let here = || panes.into_iter().skip(left);
        let sum: f32 = here().filter_map(|p| sizes[p as usize]).sum();
        let least: f32 = here().filter(|p| sizes[*p as usize].is_some()).map(|p| p.range().0).sum();
        if least <= room {
            let over = (sum - room).max(0.0);
            let spare = (sum - least).max(1e-3);
            for pane in here() {
                if let Some(size) = &mut sizes[pane as usize] {
                    *size -= over * (*size - pane.range().0) / spare;
                }
            }
            return;
        }
        if let Some(pane) = panes.get(left) {
            sizes[*pane as usize] = None;
        }
    }
}

/// The edge of a pane that can be dragged.
#[derive(Clone, Copy)]
pub(super) enum Edge {
    Left,
    Right,
    Top,
}

impl Layout {
    /// The edge between a pane and the picture: dragged it makes the pane larger or smaller, a double click makes it as it
    /// was made.
    pub(super) fn divider(&mut self, ui: &Ui, pane: Pane, rect: Rect, edge: Edge) {
        let line = match edge {
            Edge::Left => [rect.left_top(), rect.left_bottom()],
            Edge::Right => [rect.right_top(), rect.right_bottom()],
            Edge::Top => [rect.left_top(), rect.right_top()],
        };
        let grip = Rect::from_two_pos(line[0], line[1]).expand(3.0).intersect(ui.ctx().content_rect());
        let response = ui.interact(grip, egui::Id::unique(("divider", pane.key())), Sense::click_and_drag());
        response.widget_info(|| {
            let name = format!("size of the {}", pane.name());
            egui::WidgetInfo::labeled(egui::Role::Splitter, true, name)
        });
        if response.double_clicked() {
            self.set_size(pane, None);
        } else if let Some(at) = response.interact_pointer_pos().filter(|_| response.dragged()) {
            self.set_size(
                pane,
                Some(match edge {
                    Edge::Left => rect.right() - at.x,
                    Edge::Right => at.x - rect.left(),
                    Edge::Top => rect.bottom() - at.y,
                }),
            );
        }
        if response.hovered() || response.dragged() {
            ui.ctx().set_cursor_icon(match edge {
                Edge::Top => egui::CursorIcon::ResizeVertical,
                _ => egui::CursorIcon::ResizeHorizontal,
            });
            ui.painter().line_segment(line, Stroke::new(2.0, look::FILL));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picture_keeps_its_room() {
        let mut layout = Layout::default();
        layout.show(Pane::Scopes, true);
        for text in [1.0, 1.25, 1.5, 2.0] {
            for (width, height) in [(1280.0, 720.0), (1600.0, 900.0), (1920.0, 1080.0), (3840.0, 2160.0)] {
                let window = Vec2::new(width, height) / text;
                for mirror in [34.0, 110.0, 400.0] {
                    let placed = layout.placed(window, mirror);
                    let size = |pane: Pane| placed[pane as usize].unwrap_or(0.0);
                    let across = window.x - size(Pane::Order) - size(Pane::Path);
                    let down = window.y - size(Pane::Mirror) - size(Pane::Scopes) - size(Pane::Transport);
                    assert!(across >= 0.3 * window.x && down >= 0.33 * window.y, "{window:?} {placed:?}");
                    for pane in Pane::ALL {
                        let (least, _) = pane.range();
                        assert!(placed[pane as usize].is_none_or(|s| s >= least), "{window:?} {placed:?}");
                    }
                    // Both sides are there even in a small window with large text.
                    assert!(placed[0].is_some() && placed[1].is_some(), "{window:?}");
                }
            }
        }
        let large = layout.placed(Vec2::new(1920.0, 1080.0), 96.0);
        assert_eq!(large, [Some(220.0), Some(290.0), Some(96.0), Some(210.0), Some(30.0)]);
        // Where nothing fits, nothing is there but the transport.
        let tiny = layout.placed(Vec2::new(240.0, 150.0), 96.0);
        assert_eq!(tiny, [None, None, None, None, Some(30.0)]);
        layout.picture_only = true;
        assert_eq!(layout.placed(Vec2::new(1920.0, 1080.0), 96.0), [None; 5]);
        layout.toggle(Pane::Path);
        let alone = layout.placed(Vec2::new(1920.0, 1080.0), 96.0);
        assert_eq!(alone, [None, Some(290.0), None, None, None]);
    }
}
