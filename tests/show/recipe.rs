//! From the document to a recipe.

use super::*;

#[test]
fn a_recipe_is_made_of_the_show_as_it_stands() {
    let show = full_show();
    let tail = show.tail(Output::Client);
    let recipe = recipe(&show, 2, tail.clone(), 77).unwrap();
    assert_eq!(recipe.decode.encoding.id, "logc4");
    assert_eq!(recipe.balance, Some(show.shots[2].balance));
    assert_eq!(recipe.frame, 77);
    assert_eq!((recipe.framing, recipe.raster), (show.shots[2].framing, Some((2048, 858))));
    // Effective strengths: before 1; the look's stages × 0.75, one of them off; finish 1.
    let strengths: Vec<_> = recipe.stages.iter().map(|s| s.strength).collect();
    assert_eq!(strengths, [1.0, 1.125, 0.0, 1.125, 1.0, 1.0]);
    match recipe.tail {
        Tail::Display { transform, display, trim, show_lut: None, calibration: Some(table) } => {
            assert_eq!((transform, &*display.id), (OutputTransform::None, "srgb"));
            assert_eq!(trim, show.outputs.client.trim);
            assert_eq!(Some(table), show.outputs.client.calibration.clone().map(|c| c.lut));
        }
        _ => panic!("an output is a display"),
    }
    assert!(greyhold::show::recipe(&show, 3, tail, 0).is_none());
}
