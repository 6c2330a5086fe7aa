//! Markers on curves: their shape tells curves apart where colours do not.

use std::f64::consts::TAU;

use super::Pen;

/// Half the size of a marker in pixels.
const HALF: f64 = 4.0;

/// The marker of a pen about a point; empty for a pen that has none.
pub(super) fn at(pen: Pen, x: f64, y: f64) -> String {
    let index = match pen {
        Pen::Measured(index) => index,
        Pen::Nights => 0,
        _ => return String::new(),
    };
    let path = match index {
        0 => {
            let r = HALF;
            return format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r}\"/>");
        }
        1 => polygon(x, y, 4, 0.125),
        2 => polygon(x, y, 3, 0.0),
        3 => polygon(x, y, 4, 0.0),
        _ => polygon(x, y, 3, 0.5),
    };
    format!("<path d=\"{path}\"/>")
}

/// A polygon whose first corner is turned by that part of a full turn from straight up.
fn polygon(x: f64, y: f64, corners: u32, turned: f64) -> String {
    let radius = HALF * 1.3;
    let corner = |index: u32| {
        let angle = TAU * (f64::from(index) / f64::from(corners) + turned - 0.25);
        let (sine, cosine) = angle.sin_cos();
        format!("{:.1} {:.1}", x + radius * cosine, y + radius * sine)
    };
    let corners: Vec<String> = (0..corners).map(corner).collect();
    format!("M{}Z", corners.join("L"))
}
