//! The graph of curves: points, double clicks, rows.

use super::*;

fn values(desk: &Desk) -> &[f64] {
    &desk.show.chain.look[0].values
}

#[test]
fn a_point_goes_where_it_is_dragged_in_one_step() {
    let mut desk = with_curves();
    let before = desk.show.clone();
    let points = desk.points();
    // Three stops apart.
    let three = points[2].x - points[1].x;
    let rise = points[1].y - points[2].y;
    assert!(three > 20.0 && rise > 15.0, "{points:?}");
    let way = Vec2::new(three / 3.0, -rise / 6.0);
    desk.drag(points[1], points[1] + way, Duration::from_secs(2));
    let found = curve_points(values(&desk), 0)[1];
    // A stop over, half a stop up: from −3 to −2, and there half a stop lower than nothing.
    assert!((found.place + 2.0).abs() < 1e-3 && (found.lift + 0.5).abs() < 1e-3, "{found:?}");
    let now = desk.points();
    assert!((now[1] - (points[1] + way)).length() < 0.1, "it is drawn where it is");
    for i in [0, 2, 3, 4] {
        assert_eq!(now[i], points[i], "the others stay");
    }
    assert_eq!(&*desk.panes.in_hand, "look/1/master-shade");
    assert_eq!(desk.history.undoable(), 1, "one drag, though it rested for two seconds");
    desk.undo();
    assert_eq!(desk.show, before);
}

#[test]
fn a_point_stops_at_its_neighbours_and_comes_back_with_the_pointer() {
    let mut desk = with_curves();
    let points = desk.points();
    let far = points[4] + Vec2::new(30.0, 0.0);
    desk.move_to(points[2]);
    desk.button(points[2], true);
    for n in 1..=10 {
        desk.move_to(points[2] + (far - points[2]) * n as f32 / 10.0);
        let found = curve_points(values(&desk), 0);
        assert!(found[2].place <= 2.5 + 1e-9 && found[2].height() < 3.0, "{found:?}");
        assert_eq!((found[3].place, found[3].lift), (3.0, 0.0), "its neighbour is not pushed");
    }
    assert!((curve_points(values(&desk), 0)[2].place - 2.5).abs() < 1e-9);
    desk.move_to(points[2]);
    desk.button(points[2], false);
    let found = curve_points(values(&desk), 0)[2];
    assert!(found.place.abs() < 1e-3 && found.lift.abs() < 1e-3, "{found:?}");
}

#[test]
fn a_double_click_puts_a_point_back() {
    let mut desk = with_curves();
    let points = desk.points();
    desk.drag(points[3], points[3] + Vec2::new(9.0, 11.0), Duration::ZERO);
    let moved = values(&desk).to_vec();
    let (place, lift) = curve_point_parameters(0, 3);
    assert!(moved[place] > 3.3 && moved[lift] < -0.5, "{moved:?}");
    desk.at += Duration::from_secs(2);
    let at = desk.points()[3];
    desk.click(at);
    desk.click(at);
    assert_eq!((values(&desk)[place], values(&desk)[lift]), (3.0, 0.0));
    desk.undo();
    assert_eq!(values(&desk), moved, "that was a step of its own");
    assert_eq!(desk.history.undoable(), 1);
}

#[test]
fn the_words_choose_a_curve() {
    let mut desk = with_curves();
    let points = desk.points();
    desk.click(desk.text("blue"));
    assert_eq!(desk.panes.curve, 3);
    desk.drag(points[1], points[1] + Vec2::new(0.0, -10.0), Duration::ZERO);
    let changed: Vec<_> = curve_points(values(&desk), 3).iter().map(|p| p.lift).collect();
    assert!(changed[1] > 0.5 && changed[0] == 0.0, "{changed:?}");
    assert!(curve_points(values(&desk), 0).iter().all(|p| p.lift == 0.0), "the master is as it was");
    assert_eq!(&*desk.panes.in_hand, "look/1/blue-shade");
    // A dot marks the curve that does something; the graph of another has its own points.
    desk.text("blue •");
    desk.click(desk.text("red"));
    assert_eq!(desk.points(), points);
}

/// Rows come when the stage is opened: place and lift of each point of the curve on view.
#[test]
fn rows_are_behind_the_expansion() {
    let mut desk = with_curves();
    let graph = desk.points();
    assert_eq!(desk.panes.addresses.iter().filter(|a| a.contains("look/1/master-")).count(), 5);
    desk.panes.open.insert("look/1".into());
    desk.frame(&[]);
    desk.frame(&[]);
    // A bar to scroll by may come, which makes it narrower.
    let heights = |points: [Pos2; 5]| points.map(|at| at.y);
    assert_eq!(heights(desk.points()), heights(graph), "the graph stays");
    let rows: Vec<_> = desk.panes.addresses.iter().filter(|a| a.contains("look/1/master-")).collect();
    let expected: Vec<_> = CURVE_POINTS
        .iter()
        .flat_map(|p| [format!("look/1/master-{p}"), format!("look/1/master-{p}-at")])
        .collect();
    assert_eq!(rows.iter().map(|a| &***a).collect::<Vec<_>>(), expected);
    // Dragged half its width, the row of a place goes half its range.
    let row = desk.text("middle at");
    desk.drag(row, row + Vec2::new(20.0, 0.0), Duration::ZERO);
    let (place, lift) = curve_point_parameters(0, 2);
    assert!(values(&desk)[place] > 0.5 && values(&desk)[lift] == 0.0);
}
