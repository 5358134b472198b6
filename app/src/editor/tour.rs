//! The tour: what is where, in a few steps.

/// One step: what it points at (a CSS selector), a heading, a sentence or two.
pub struct Stop {
    /// What it points at.
    pub at: &'static str,
    /// Heading.
    pub title: &'static str,
    /// What to know.
    pub text: &'static str,
}

/// The steps.
pub const STOPS: [Stop; 6] = [
    Stop {
        at: ".front",
        title: "The head, as its servos will really move it",
        text: "It is drawn from the planned motion of this rig. Where the dashed outline differs, more was wanted than the servos can do.",
    },
    Stop {
        at: "[data-testid=play]",
        title: "Hear it and see it",
        text: "Space plays and pauses, comma and full stop make it slower and faster at the same pitch, L repeats what is selected.",
    },
    Stop {
        at: "[data-testid=lane-shapes]",
        title: "What the mouth does, and when",
        text: "Drag a boundary to where you hear the change. Click a shape to choose it; hatched ones are those the ear was least sure of.",
    },
    Stop {
        at: ".palette",
        title: "Another shape",
        text: "One click gives the chosen stretch another mouth. Each is this head's own pose. Undo takes everything back, step by step.",
    },
    Stop {
        at: ".problems",
        title: "What the head cannot do",
        text: "Each sentence leads to its place. With a script (the button Script…) the ear fits the words to the sound.",
    },
    Stop {
        at: "[data-testid=open]",
        title: "Now your own line",
        text: "Open a recording or drop it anywhere. Everything is kept in this browser; Save puts it all into one file, and Export writes what the head's controller plays. Read the cautions there before anything moves.",
    },
];

/// A place on the window: left, top, width, height, in pixels.
pub type Box4 = (f64, f64, f64, f64);

/// Where the card of a step stands: below what it points at where there is room, else above, else
/// beside, else over its lower edge; always inside the window.
#[must_use]
pub fn place(target: Box4, card: (f64, f64), window: (f64, f64)) -> (f64, f64) {
    const GAP: f64 = 12.0;
    let (left, top, width, height) = target;
    let inside = |v: f64, size: f64, room: f64| v.min(room - size - GAP).max(GAP);
    let at = |x: f64, y: f64| (inside(x, card.0, window.0), inside(y, card.1, window.1));
    let middle = left + width / 2.0 - card.0 / 2.0;
    let below = top + height + GAP;
    if below + card.1 + GAP <= window.1 {
        return at(middle, below);
    }
    let above = top - GAP - card.1;
    if above >= GAP {
        return at(middle, above);
    }
    let y = top + height / 2.0 - card.1 / 2.0;
    if left + width + 2.0 * GAP + card.0 <= window.0 {
        return at(left + width + GAP, y);
    }
    if left - 2.0 * GAP - card.0 >= 0.0 {
        return at(left - GAP - card.0, y);
    }
    at(middle, top + height - card.1 - GAP)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_card_stands_clear_of_what_it_points_at() {
        let window = (1280.0, 720.0);
        let card = (340.0, 160.0);
        assert_eq!(place((100.0, 10.0, 60.0, 30.0), card, window), (12.0, 52.0), "below");
        assert_eq!(place((0.0, 600.0, 1280.0, 70.0), card, window).1, 428.0, "above");
        let (x, _) = place((900.0, 60.0, 380.0, 600.0), card, window);
        assert!(x + card.0 <= 900.0, "beside");
    }

    proptest! {
        #[test]
        fn the_card_is_always_inside_the_window(
            left in -200.0f64..2000.0, top in -200.0f64..2000.0, w in 0.0f64..2000.0, h in 0.0f64..2000.0,
            width in 400.0f64..2600.0, height in 300.0f64..1600.0,
        ) {
            let (x, y) = place((left, top, w, h), (340.0, 200.0), (width, height));
            prop_assert!(x >= 0.0 && y >= 0.0 && x + 340.0 <= width && y + 200.0 <= height, "{} {}", x, y);
        }
    }
}
