//! The running order: rows, thumbnails, marks, another order by the mouse.

use super::*;
use crate::engine::{THUMBNAIL, Thumbnail};

fn shots(names: &[&str]) -> Show {
    let mut show = with_curves().show;
    let camera = encoding("logc4").unwrap();
    show.shots = names.iter().map(|n| Shot::new(*n, format!("{n}.mov"), 10..34, camera)).collect();
    show
}

fn names(desk: &Desk) -> Vec<&str> {
    desk.show.shots.iter().map(|s| s.name.as_str()).collect()
}

/// A thumbnail of one colour.
fn thumbnail(made_of: u64, assumed: bool) -> Arc<Thumbnail> {
    let (width, height) = THUMBNAIL;
    let pixels = vec![[90, 80, 70]; (width * height) as usize];
    Arc::new(Thumbnail { width, height, pixels, assumed, made_of })
}

/// Rectangles that show a texture other than the font's.
fn pictures(desk: &Desk) -> Vec<egui::Rect> {
    let of = |s: &Shape| match s {
        Shape::Rect(r) => r.brush.as_ref().map(|_| r.rect),
        Shape::Mesh(m) if m.texture_id != egui::TextureId::default() => Some(m.calc_bounds()),
        _ => None,
    };
    desk.shapes.iter().filter_map(of).collect()
}

#[test]
fn rows_show_their_shots_and_go_to_them() {
    let mut show = shots(&["gate", "street", "window"]);
    let exposure = crate::picture::BalanceField::Exposure;
    show.shots[1].balance = show.shots[1].balance.with(exposure, 0.5);
    let mut desk = Desk::new(show);
    assert_eq!(desk.rows, Some(0..3), "thumbnails of the rows that are seen are asked for");
    assert!(pictures(&desk).is_empty());
    let why: Arc<str> = "window.mov: no such file".into();
    desk.thumbnails =
        vec![Some(Ok(thumbnail(1, false))), Some(Ok(thumbnail(2, true))), Some(Err(why))].into();
    desk.frame(&[]);
    let found = pictures(&desk);
    assert_eq!(found.len(), 2, "one of each that is there");
    for (picture, name) in found.iter().zip(["1  gate", "2  street"]) {
        let text = desk.text(name);
        assert!(picture.y_range().contains(text.y) && picture.right() < text.x, "{name}");
        assert!((picture.aspect_ratio() - 16.0 / 9.0).abs() < 0.01);
    }
    assert_eq!(desk.texts(&exposure.parameter().show(0.5)).len(), 1);
    desk.click(desk.text("3  window"));
    assert_eq!(desk.commands, [Command::Shot(2)]);
    // A hidden pane asks for nothing.
    desk.panes.toggle(Pane::Order);
    desk.frame(&[]);
    assert_eq!(desk.rows, None);
    assert!(desk.texts("1  gate").is_empty());
}

#[test]
fn marks_say_what_they_mean() {
    let mut desk = Desk::new(shots(&["gate", "street", "window"]));
    desk.thumbnails =
        vec![Some(Ok(thumbnail(1, false))), Some(Ok(thumbnail(2, true))), Some(Err("gone".into()))].into();
    let s = desk.snapshot();
    let marks = |shot| shot_marks::marks(&s, shot);
    assert!(marks(0).is_empty());
    assert!(marks(1)[0].about.starts_with("untagged"));
    assert_eq!(marks(2)[0].about, "cannot be read: gone");
    assert_ne!(marks(1)[0].shape, marks(2)[0].shape);
    // They lie inside their rows, at the right end.
    desk.frame(&[]);
    let row = desk.text("3  window");
    let crosses = |desk: &Desk| {
        desk.shapes.iter().filter(|s| matches!(s, Shape::LineSegment { points, .. } if (points[0].y - row.y).abs() < 50.0 && points[0].x < 220.0 && (points[0] - points[1]).length() < 16.0)).count()
    };
    assert_eq!(crosses(&desk), 2);
}

/// A row that is dragged over others goes there when it is let go, and undo brings it back.
#[test]
fn shots_are_put_into_another_order() {
    let mut desk = Desk::new(shots(&["a", "b", "c", "d"]));
    let rows = ["1  a", "2  b", "3  c", "4  d"].map(|n| desk.text(n));
    let pitch = rows[1].y - rows[0].y;
    desk.drag(rows[0], rows[2] + Vec2::new(0.0, pitch * 0.3), Duration::ZERO);
    assert_eq!(names(&desk), ["b", "c", "a", "d"]);
    desk.drag(rows[3], rows[0] - Vec2::new(0.0, pitch * 0.3), Duration::ZERO);
    assert_eq!(names(&desk), ["d", "b", "c", "a"]);
    // To where it is, or to somewhere else on the desk: nothing.
    desk.drag(rows[1], rows[1] + Vec2::new(0.0, pitch * 0.4), Duration::ZERO);
    desk.drag(rows[1], rows[3] + Vec2::new(600.0, 0.0), Duration::ZERO);
    assert_eq!(names(&desk), ["d", "b", "c", "a"]);
    assert_eq!(desk.history.undoable(), 2);
    desk.undo();
    desk.undo();
    assert_eq!(names(&desk), ["a", "b", "c", "d"]);
    assert!(desk.commands.is_empty(), "a drag is no click");
}

/// Of a long running order only what is seen is drawn, and the shot on view comes into sight.
#[test]
fn a_long_running_order_shows_its_part() {
    let names: Vec<String> = (0..400).map(|i| format!("shot {i}")).collect();
    let show = shots(&names.iter().map(String::as_str).collect::<Vec<_>>());
    let mut desk = Desk::new(show);
    let seen = desk.rows.clone().unwrap();
    assert!(seen.start == 0 && seen.end < 40, "{seen:?}");
    assert!(desk.texts("301  shot 300").is_empty());
    desk.shot = 300;
    desk.frame(&[]);
    desk.frame(&[]);
    let seen = desk.rows.clone().unwrap();
    assert!(seen.contains(&300), "{seen:?}");
    let at = desk.text("301  shot 300").y;
    assert!((200.0..1200.0).contains(&at), "{at}");
}
