//! The whole line in a strip: sound, problems, markers.

use super::*;

/// The whole line: loudness as a pale body, problems as ticks from below, markers from above.
#[must_use]
pub fn minimap(
    axis: &TimeAxis,
    pyramid: Option<&WaveformPyramid>,
    problems: &[Seconds],
    markers: &[Seconds],
    height: f64,
) -> Vec<DrawCmd> {
    let mut out = vec![fill(Path::rect(0.0, 0.0, axis.width(), height), Tone::Lane)];
    if let Some(pyramid) = pyramid {
        let rate = Recording::RATE.value();
        let count = axis.width().ceil().max(0.0) as usize;
        let columns = pyramid.columns(0.0, rate / axis.scale(), count);
        let peak = columns.iter().map(|c| c.max.max(-c.min)).fold(0.02f32, f32::max);
        let middle = height / 2.0;
        let y = |v: f32| middle - f64::from(v / peak) * (middle - 2.0);
        let mut points: Vec<Point> = (0..count).map(|i| pt(i as f64 + 0.5, y(columns[i].max))).collect();
        points.extend(
            (0..count).rev().map(|i| pt(i as f64 + 0.5, y(columns[i].min).max(y(columns[i].max) + 1.0))),
        );
        out.push(fill(Path::polyline(&points).close(), Tone::Wave));
    }
    // A tick for each pixel at most, however many problems fall on it.
    let ticks = |times: &[Seconds], top: f64, bottom: f64| {
        let mut pixels: Vec<i64> = times.iter().map(|t| axis.x(*t).round() as i64).collect();
        pixels.sort_unstable();
        pixels.dedup();
        pixels
            .iter()
            .fold(Path::new(), |path, x| path.with(Path::rect(*x as f64 - 0.5, top, 1.5, bottom - top)))
    };
    out.push(fill(ticks(problems, height - 6.0, height), Tone::Danger));
    out.push(fill(ticks(markers, 0.0, 7.0), Tone::LeadJaw));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_thousand_problems_cost_no_more_than_the_pixels() {
        let axis = TimeAxis::fitted(Seconds::new(600.0), 1000.0);
        let problems: Vec<Seconds> = (0..10_000).map(|i| Seconds::new(f64::from(i) * 0.06)).collect();
        let pyramid = WaveformPyramid::new(&vec![0.3; 16_000]);
        let commands = minimap(&axis, Some(&pyramid), &problems, &[Seconds::new(300.0)], 22.0);
        let pieces = |c: &DrawCmd| match c {
            DrawCmd::Fill(path, _) => path.pieces().len(),
            _ => 1,
        };
        let ticks = commands.iter().rev().nth(1).expect("ticks");
        assert!(pieces(ticks) <= 5 * 1001 && pieces(ticks) > 4_000, "{}", pieces(ticks));
        assert!(commands.iter().all(|c| pieces(c) < 6_000));
    }
}
