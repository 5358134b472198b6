//! What the harbourmaster wears: cap, beard, coat; and the light behind him.

use super::super::pen::Pen;
use super::super::{Paint, Path, Rgba, Tone, pt};
use super::*;

pub(super) fn backdrop(pen: &mut Pen) {
    // A lamp behind the head, and the rings of a harbour light.
    let glow = pen.radial(
        pt(0.0, -30.0),
        130.0,
        &[
            (0.0, Rgba::hex(0x6f9db8).faint(0.34)),
            (0.55, Rgba::hex(0x6f9db8).faint(0.12)),
            (1.0, Rgba::hex(0x6f9db8).faint(0.0)),
        ],
    );
    pen.fill(&Path::ellipse(pt(0.0, -30.0), 130.0, 130.0), glow);
    for radius in [92.0, 108.0, 124.0] {
        pen.line(&Path::ellipse(pt(0.0, -26.0), radius, radius), 0.35, 0.8, Paint::Faint(Tone::Quiet, 0.22));
    }
}

pub(super) fn shoulders(pen: &mut Pen) {
    let coat = Path::new()
        .start(pt(-104.0, 120.0))
        .curve(pt(-100.0, 74.0), pt(-74.0, 62.0), pt(-38.0, 50.0))
        .to(pt(38.0, 50.0))
        .curve(pt(74.0, 62.0), pt(100.0, 74.0), pt(104.0, 120.0))
        .close();
    let cloth = pen.linear(pt(0.0, 48.0), pt(0.0, 96.0), &[(0.0, NAVY_LIT), (0.4, NAVY), (1.0, NAVY_DARK)]);
    pen.fill(&coat, cloth);
    let wool = Path::new()
        .start(pt(-34.0, 96.0))
        .curve(pt(-42.0, 70.0), pt(-40.0, 52.0), pt(-34.0, 40.0))
        .to(pt(34.0, 40.0))
        .curve(pt(40.0, 52.0), pt(42.0, 70.0), pt(34.0, 96.0))
        .close();
    let knit = pen.linear(
        pt(-36.0, 0.0),
        pt(36.0, 0.0),
        &[(0.0, Rgba::hex(0xa39a82)), (0.35, WOOL), (0.65, WOOL), (1.0, Rgba::hex(0xa39a82))],
    );
    pen.fill(&wool, knit);
    for i in -5..=5 {
        let x = f64::from(i) * 6.4;
        let rib =
            Path::new().start(pt(x * 0.94, 44.0)).curve(pt(x * 1.1, 58.0), pt(x * 1.15, 72.0), pt(x, 96.0));
        pen.line(&rib, 0.7, 0.5, Rgba::hex(0x8d8469).faint(0.55));
    }
    for sign in [-1.0, 1.0] {
        let lapel = Path::new()
            .start(pt(sign * 34.0, 46.0))
            .curve(pt(sign * 56.0, 54.0), pt(sign * 60.0, 62.0), pt(sign * 56.0, 70.0))
            .to(pt(sign * 18.0, 108.0))
            .curve(pt(sign * 30.0, 88.0), pt(sign * 38.0, 70.0), pt(sign * 34.0, 46.0))
            .close();
        pen.fill(&lapel, NAVY_LIT);
        pen.line(&lapel, 0.6, 0.6, NAVY_DARK);
        let button = pt(sign * 58.0, 80.0);
        let brass = pen.radial(pt(button.x - 1.2, button.y - 1.4), 5.0, &[(0.0, BRASS_LIT), (1.0, BRASS)]);
        pen.fill(&Path::ellipse(button, 4.2, 4.2), brass);
        pen.line(&Path::ellipse(button, 2.4, 2.4), 0.5, 0.4, Rgba::hex(0x8a6420));
    }
}

/// A chin-curtain beard: no hair near the lips, and all of it rides on the jaw.
pub(super) fn beard(pen: &mut Pen, jaw: f64) {
    let d = jaw * 0.95;
    let outer = [
        pt(-70.0, -40.0),
        pt(-71.0, -10.0),
        pt(-66.0, 20.0 + d * 0.5),
        pt(-52.0, 46.0 + d),
        pt(-28.0, 63.0 + d),
        pt(0.0, 70.0 + d),
        pt(28.0, 63.0 + d),
        pt(52.0, 46.0 + d),
        pt(66.0, 20.0 + d * 0.5),
        pt(71.0, -10.0),
        pt(70.0, -40.0),
    ];
    let inner = [
        pt(63.0, -40.0),
        pt(59.0, -12.0),
        pt(51.0, 10.0 + d * 0.4),
        pt(37.0, 23.0 + d * 0.9),
        pt(19.0, 27.0 + d),
        pt(0.0, 25.5 + d),
        pt(-19.0, 27.0 + d),
        pt(-37.0, 23.0 + d * 0.9),
        pt(-51.0, 10.0 + d * 0.4),
        pt(-59.0, -12.0),
        pt(-63.0, -40.0),
    ];
    let shape = Path::smooth(&outer).to(inner[0]).smooth_on(&inner).close();
    let mass = pen.linear(pt(0.0, 0.0), pt(0.0, 72.0 + d), &[(0.0, HAIR), (0.6, HAIR), (1.0, HAIR_SHADE)]);
    pen.fill(&shape, mass);
    // Locks from the skin outward, turning down under the chin.
    let mut reversed = inner;
    reversed.reverse();
    let steps = 44;
    for i in 0..=steps {
        let t = f64::from(i) / f64::from(steps) * 10.0;
        let k = (t.floor() as usize).min(9);
        let part = t - k as f64;
        let root = reversed[k].towards(reversed[k + 1], part);
        let tip = outer[k].towards(outer[k + 1], part);
        // A fixed pattern of lengths and leans, so that the beard does not flicker.
        let wobble = ((i * 37 % 11) as f64 - 5.0) / 5.0;
        let length = 0.72 + 0.3 * ((i * 53 % 7) as f64) / 6.0;
        let end = root.towards(tip, length);
        let side = pt((tip.y - root.y) * 0.14 * wobble, -(tip.x - root.x) * 0.14 * wobble);
        let a = root.towards(end, 0.35);
        let b = root.towards(end, 0.7);
        let lock = Path::new().start(root.towards(tip, 0.06)).curve(
            pt(a.x + side.x, a.y + side.y),
            pt(b.x - side.x, b.y - side.y),
            end,
        );
        let tone = match i % 4 {
            0 => HAIR_LIT,
            1 | 3 => HAIR_SHADE,
            _ => Rgba::hex(0xbdbab1),
        };
        pen.line(&lock, 1.3, 0.7, tone.faint(0.85));
    }
    // The edge by the skin is soft.
    for i in 0..40 {
        let t = f64::from(i) / 39.0 * 10.0;
        let k = (t.floor() as usize).min(9);
        let root = reversed[k].towards(reversed[k + 1], t - k as f64);
        let tip = outer[k].towards(outer[k + 1], t - k as f64);
        let from = root.towards(tip, -0.07 - 0.05 * ((i * 29 % 5) as f64) / 4.0);
        pen.line(&Path::segment(from, root.towards(tip, 0.16)), 0.9, 0.6, HAIR.faint(0.8));
    }
}

pub(super) fn cap(pen: &mut Pen, turn: f64) {
    let crown = Path::new()
        .start(pt(-66.0, -78.0))
        .curve(pt(-74.0, -96.0), pt(-90.0, -100.0), pt(-86.0, -110.0))
        .curve(pt(-60.0, -130.0), pt(60.0, -130.0), pt(86.0, -110.0))
        .curve(pt(90.0, -100.0), pt(74.0, -96.0), pt(66.0, -78.0))
        .curve(pt(40.0, -90.0), pt(-40.0, -90.0), pt(-66.0, -78.0))
        .close();
    let cloth =
        pen.linear(pt(0.0, -128.0), pt(0.0, -80.0), &[(0.0, NAVY_LIT), (0.5, NAVY), (1.0, NAVY_DARK)]);
    pen.fill(&crown, cloth);
    for sign in [-1.0, 1.0] {
        let crease =
            Path::smooth(&[pt(sign * 70.0, -90.0), pt(sign * 62.0, -102.0), pt(sign * 40.0, -110.0)]);
        pen.line(&crease, 1.0, 0.7, NAVY_DARK.faint(0.7));
    }
    let band = Path::new()
        .start(pt(-67.0, -74.0))
        .curve(pt(-40.0, -88.0), pt(40.0, -88.0), pt(67.0, -74.0))
        .to(pt(68.0, -86.0))
        .curve(pt(40.0, -101.0), pt(-40.0, -101.0), pt(-68.0, -86.0))
        .close();
    pen.fill(&band, Rgba::hex(0x0f1a23));
    let braid = Path::new().start(pt(-67.0, -76.0)).curve(pt(-40.0, -90.0), pt(40.0, -90.0), pt(67.0, -76.0));
    pen.line(&braid, 2.6, 1.2, BRASS);
    pen.line(&braid, 0.8, 0.6, BRASS_LIT.faint(0.8));
    for sign in [-1.0, 1.0] {
        pen.fill(&Path::ellipse(pt(sign * 63.0, -78.5), 2.8, 2.8), BRASS_LIT);
    }
    let peak = Path::new()
        .start(pt(-60.0, -75.0))
        .curve(pt(-36.0, -88.0), pt(36.0, -88.0), pt(60.0, -75.0))
        .curve(pt(52.0, -63.0), pt(26.0, -69.5), pt(0.0, -69.5))
        .curve(pt(-26.0, -69.5), pt(-52.0, -63.0), pt(-60.0, -75.0))
        .close();
    let gloss = pen.linear(
        pt(0.0, -86.0),
        pt(0.0, -66.0),
        &[
            (0.0, Rgba::hex(0x0a1117)),
            (0.45, Rgba::hex(0x2b3d4b)),
            (0.6, Rgba::hex(0x0d161d)),
            (1.0, Rgba::hex(0x05090c)),
        ],
    );
    pen.fill(&peak, gloss);
    // The badge of the port: a light over two waves, in brass.
    pen.shift += turn * 22.0;
    let c = pt(0.0, -99.0);
    let brass = pen.linear(pt(0.0, -110.0), pt(0.0, -88.0), &[(0.0, BRASS_LIT), (1.0, BRASS)]);
    pen.fill(
        &Path::blob(&[
            pt(c.x, c.y - 12.0),
            pt(c.x + 10.0, c.y - 7.0),
            pt(c.x + 9.0, c.y + 5.0),
            pt(c.x, c.y + 11.0),
            pt(c.x - 9.0, c.y + 5.0),
            pt(c.x - 10.0, c.y - 7.0),
        ]),
        NAVY_DARK,
    );
    let tower = Path::polyline(&[
        pt(c.x - 2.6, c.y + 3.5),
        pt(c.x - 1.5, c.y - 5.0),
        pt(c.x + 1.5, c.y - 5.0),
        pt(c.x + 2.6, c.y + 3.5),
    ])
    .close();
    pen.fill(&tower, brass.clone());
    pen.fill(&Path::rect(c.x - 2.3, c.y - 8.4, 4.6, 2.4), brass.clone());
    for sign in [-1.0, 1.0] {
        let ray = Path::polyline(&[
            pt(c.x + sign * 3.4, c.y - 7.2),
            pt(c.x + sign * 7.2, c.y - 9.2),
            pt(c.x + sign * 7.2, c.y - 5.4),
        ])
        .close();
        pen.fill(&ray, BRASS_LIT.faint(0.9));
    }
    for dy in [4.8, 7.4] {
        let wave = Path::smooth(&[
            pt(c.x - 6.0, c.y + dy),
            pt(c.x - 3.0, c.y + dy - 1.2),
            pt(c.x, c.y + dy),
            pt(c.x + 3.0, c.y + dy - 1.2),
            pt(c.x + 6.0, c.y + dy),
        ]);
        pen.line(&wave, 0.9, 0.7, BRASS);
    }
    pen.shift -= turn * 22.0;
}
