//! Every page in both looks and at the smallest size: painted without a fault, no word beyond the edge.
//! `THUMBLINE_PICTURES=FOLDER` writes them to look at.

use crate::bench::{World, click, press, usual, window};
use crate::painting::painted;
use crate::scenes::tune;
use egui::vec2;
use egui_kittest::Harness;
use std::path::PathBuf;
use thumbline::report::sheet::Ground;
use thumbline_plugin::editor::pages::PAGES;

fn shot(harness: &Harness<World>, name: &str) {
    let picture = painted(harness);
    if let Some(folder) = std::env::var_os("THUMBLINE_PICTURES").map(PathBuf::from) {
        picture.save(&folder.join(format!("{name}.ppm")));
    }
}

#[test]
fn every_page_is_painted_in_both_looks_and_at_the_smallest_size() {
    for (_, name, key, _) in PAGES {
        for (look, size, ground) in [
            ("paper", vec2(1180.0, 760.0), Ground::Paper),
            ("small", vec2(900.0, 600.0), Ground::Dark),
        ] {
            let mut harness = window(Some(tune(8)), size);
            harness.state_mut().state.session.look.ground = ground;
            press(&mut harness, key);
            harness.run_steps(2);
            shot(&harness, &format!("{}-{look}", name.to_lowercase()));
        }
    }
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    for part in ["Ringing path", "Chord shapes", "Harmonics", "Melody"] {
        click(&mut harness, part);
        shot(
            &harness,
            &format!("neck-{}", part.to_lowercase().replace(' ', "-")),
        );
    }
}
