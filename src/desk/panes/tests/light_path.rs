//! Rows and menus of the light path.

use super::*;

/// A row that is held still for a while and dragged on is one step; the next drag is another, however soon.
#[test]
fn a_drag_of_a_row_is_one_step() {
    let mut desk = with_curves();
    let row = desk.text("strength");
    desk.drag(row, row - Vec2::new(40.0, 0.0), Duration::from_millis(900));
    assert_eq!(desk.history.undoable(), 1);
    let once = desk.show.chain.look[0].strength;
    assert!(once < 0.9, "{once}");
    let row = pos2(row.x, row.y);
    desk.drag(row, row - Vec2::new(40.0, 0.0), Duration::from_millis(900));
    assert_eq!(desk.history.undoable(), 2);
    desk.undo();
    assert_eq!(desk.show.chain.look[0].strength, once);
}

/// The section between camera and balance: the raster by its menu, the fitting by its names, the rest by rows.
#[test]
fn rows_of_framing_move_the_shot_on_view() {
    let mut show = with_curves().show;
    show.raster = Some((1920, 1080));
    let camera = encoding("logc4").unwrap();
    show.shots.push(Shot::new("a", "a.mov", 0..1, camera));
    let mut desk = Desk::new(show);
    let stations = ["camera", "framing", "balance"].map(|name| desk.text(name).y);
    assert!(
        stations.is_sorted() && desk.text("scale").y < stations[2] && desk.text("raster").y > stations[1]
    );
    let choose = |desk: &mut Desk, menu: &str, entry: &str| {
        desk.click(desk.text(menu));
        desk.frame(&[]);
        let entry = *desk.texts(entry).last().unwrap();
        desk.click(entry);
        desk.frame(&[]);
    };
    choose(&mut desk, "1920x1080", "2048x1080");
    assert_eq!(desk.show.raster, Some((2048, 1080)));
    choose(&mut desk, "2048x1080", FIRST.0);
    assert_eq!(desk.show.raster, None);
    choose(&mut desk, "fitting", "fill");
    assert_eq!(desk.show.shots[0].framing.fitting(), Fitting::Fill);
    assert_eq!(&*desk.panes.in_hand, "framing/fitting");
    let before = desk.show.clone();
    for (row, field) in
        [("pan x", FramingField::PanX), ("pan y", FramingField::PanY), ("scale", FramingField::Scale)]
    {
        let at = desk.text(row);
        desk.drag(at, at + Vec2::new(25.0, 0.0), Duration::ZERO);
        assert!(desk.show.shots[0].framing.get(field) > field.parameter().default + 0.05, "{row}");
    }
    assert_eq!(desk.history.undoable(), 6);
    (0..3).for_each(|_| desk.undo());
    assert_eq!(desk.show, before);
    (0..3).for_each(|_| desk.undo());
    assert_eq!((desk.show.raster, desk.show.shots[0].framing), (Some((1920, 1080)), Framing::default()));
}

/// The menu puts a stage where its kind belongs, those of the lists at their ends; either way it is taken in hand.
#[test]
fn a_stage_is_put_in_where_it_belongs_or_where_the_hand_says() {
    let mut desk = with_curves();
    let keys = |desk: &Desk| {
        List::ALL.map(|l| desk.show.chain.list(l).iter().map(|s| s.declaration().key).collect::<Vec<_>>())
    };
    let mut choose = |menu: usize, text: &str, stage: &str| {
        let at = desk.texts(text)[menu];
        desk.click(at);
        desk.frame(&[]);
        // The menu is drawn over what may be called the same.
        let entry = *desk.texts(stage).last().unwrap();
        desk.click(entry);
        desk.frame(&[]);
        (keys(&desk), desk.panes.in_hand.clone())
    };
    let (lists, in_hand) = choose(0, "put in a stage", "monochrome");
    assert_eq!(lists, [vec![], vec!["curves", "monochrome"], vec![]]);
    assert_eq!(&*in_hand, "look/2/strength");
    let (lists, _) = choose(0, "put in here", "contrast");
    assert_eq!(lists, [vec!["contrast"], vec!["curves", "monochrome"], vec![]]);
    let (lists, in_hand) = choose(2, "put in here", "contrast");
    assert_eq!(lists, [vec!["contrast"], vec!["curves", "monochrome"], vec!["contrast"]]);
    assert_eq!(&*in_hand, "finish/1/strength");
    assert_eq!(desk.history.undoable(), 3);
}

/// Whoever takes something of a stage in hand has the stage in focus.
#[test]
fn what_is_clicked_comes_into_focus() {
    let mut show = Show::new("test");
    show.chain.look = ["contrast", "saturation"].map(|key| Stage::new(stage(key).unwrap())).into();
    let mut desk = Desk::new(show);
    let focus = |at| Command::Focus(Focus { list: List::Look, at });
    let name = *desk.texts("saturation").last().unwrap();
    desk.click(name);
    assert_eq!((&desk.commands[..], &*desk.panes.in_hand), (&[focus(1)][..], "look/2/strength"));
    // The first is in focus here all along: its rows ask for nothing.
    let rows = desk.texts("strength");
    desk.click(rows[0]);
    assert_eq!(desk.commands.len(), 1);
    desk.click(rows[1]);
    assert_eq!(desk.commands[1..], [focus(1)]);
    assert!(desk.show.chain.look.iter().all(|stage| stage.on), "a name is no switch");
}

#[test]
fn a_stage_is_left_out_while_its_button_is_held() {
    let mut desk = with_curves();
    desk.panes.open.insert("look/1".into());
    desk.frame(&[]);
    let held = desk.text("without it, while held");
    desk.move_to(held);
    desk.button(held, true);
    desk.frame(&[]);
    let without = Compare::WithoutStage { list: List::Look, at: 0 };
    assert_eq!(desk.commands, [Command::Compare(without)]);
    // Let go somewhere else.
    let away = held + Vec2::new(-300.0, 40.0);
    desk.move_to(away);
    desk.button(away, false);
    desk.frame(&[]);
    assert_eq!(desk.commands, [Command::Compare(without), Command::Compare(Compare::After)]);
    assert_eq!(desk.history.undoable(), 0);
}

#[test]
fn stages_are_copied_and_trimmed_for_a_shot_and_its_group() {
    let mut show = Show::new("test");
    show.chain.look = vec![Stage::new(stage("contrast").unwrap())];
    show.shots.push(Shot::new("a", "a.mov", 0..8, encoding("logc4").unwrap()));
    show.groups.push(Group { name: "night".into(), trim: StrengthTrim::default() });
    let mut desk = Desk::new(show);
    desk.panes.open.extend(["look/1".to_owned(), "groups".to_owned()]);
    desk.frame(&[]);
    // The shot joins the group, whose trims then have rows: of the look, and of its stage.
    let night = desk.text("night");
    desk.click(night);
    assert_eq!(desk.show.shots[0].groups, ["night"]);
    let [of_look, of_stage] = desk.texts("night: the group's trim of it")[..] else { panic!("two rows") };
    desk.drag(of_look, of_look - Vec2::new(40.0, 0.0), Duration::ZERO);
    desk.drag(of_stage, of_stage + Vec2::new(40.0, 0.0), Duration::ZERO);
    let [_, of_shot] = desk.texts("this shot's trim of it")[..] else { panic!("two rows") };
    desk.drag(of_shot, of_shot - Vec2::new(60.0, 0.0), Duration::ZERO);
    let key = stage_keys(&desk.show.chain.look)[0];
    let (group, shot) = (&desk.show.groups[0].trim, &desk.show.shots[0].trim);
    assert!(group.get(None) < 1.0 && group.get(Some(key)) > 1.0 && shot.get(Some(key)) < 1.0);
    assert_eq!(shot.get(None), 1.0);
    let strength = desk.show.chain_of(&desk.show.shots[0]).look[0].strength;
    assert!((strength - group.get(Some(key)) * shot.get(Some(key))).abs() < 1e-12);
    (0..4).for_each(|_| desk.undo());
    assert!(desk.show.shots[0].groups.is_empty() && desk.show.groups[0].trim == StrengthTrim::default());

    desk.frame(&[]);
    let look = &shipped_looks()[0];
    let menu = desk.text("copy a stage");
    desk.click(menu);
    let name = desk.text(&look.name);
    desk.click(name);
    let wanted = look.stages.iter().find(|s| s.declaration().key != "contrast").unwrap();
    let words = wanted.declaration().key.replace('-', " ");
    let at = *desk.texts(&words).last().unwrap();
    desk.click(at);
    assert!(
        desk.show.chain.look.len() == 2 && desk.show.chain.look.contains(wanted),
        "{:?}",
        desk.show.chain.look
    );
    assert_eq!(desk.history.undoable(), 1);
}
