//! Tracks as CSV (RFC 4180): `time_ms`, then one column a servo, pulse widths in µs.
//!
//! Every frame has its row. In a keyed track, cells between a servo's knots are empty; in a smooth one a
//! cell is `pulse slope`, with the slope in µs per frame after one space. The table does not say which
//! rig, board or recording it belongs to; the JSON form does.

use super::fixed;
use super::track::{MAX_FRAMES, MAX_SERVOS, Motion, ServoTrack, TrackMeta, TrackServo};
use super::{ExportError, TrackError};

const TIME: &str = "time_ms";

impl ServoTrack {
    /// The track as a table: a header row, CR LF after every row.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut out = String::from(TIME);
        for servo in &self.servos {
            out.push(',');
            out.push_str(&quoted(&servo.name));
        }
        out.push_str("\r\n");
        let mut next_knot = vec![0; self.servos.len()];
        for frame in 0..self.frames {
            out.push_str(&fixed::write(self.start_us + self.frame_us * frame as i64, 3));
            for (servo, next) in self.servos.iter().zip(&mut next_knot) {
                out.push(',');
                let cell = match &servo.motion {
                    Motion::Dense(pulses) => Some((pulses[frame], None)),
                    Motion::Keyed(knots) => knots.get(*next).filter(|k| k.0 == frame).map(|k| (k.1, None)),
                    Motion::Smooth(knots) => {
                        knots.get(*next).filter(|k| k.0 == frame).map(|k| (k.1, Some(k.2)))
                    }
                };
                if let Some((p, slope)) = cell {
                    *next += 1;
                    out.push_str(&fixed::write(i64::from(p), 1));
                    if let Some(slope) = slope {
                        out.push(' ');
                        out.push_str(&fixed::write(i64::from(slope), 2));
                    }
                }
            }
            out.push_str("\r\n");
        }
        out
    }

    /// Reads a table written by [`ServoTrack::to_csv`], or made by hand in the same form.
    ///
    /// A servo with an empty cell is read as knots, one whose cells have slopes as smooth knots. Line ends may be CR LF or LF.
    ///
    /// # Errors
    /// Names the line, what is wrong there and what to do.
    pub fn from_csv(text: &str) -> Result<Self, TrackError> {
        let mut rows = Rows::new(text.strip_prefix('\u{feff}').unwrap_or(text));
        let header = rows.next().transpose()?.map(|r| r.1).unwrap_or_default();
        if header.first().map(String::as_str) != Some(TIME) || header.len() < 2 {
            return Err(csv(1, "the first row does not start with time_ms and a servo", HEADER_FIX));
        }
        let columns = header.len() - 1;
        if columns > MAX_SERVOS {
            return Err(csv(1, format!("there are {columns} servos"), "give at most 256 servos"));
        }
        let mut cells: Vec<Vec<(usize, u32, Option<i32>)>> = vec![Vec::new(); columns];
        let (mut start_us, mut frame_us, mut frames) = (0, 0, 0usize);
        for row in rows {
            let (line, row) = row?;
            if row.len() != header.len() {
                let problem = format!("the row has {} fields, the header {}", row.len(), header.len());
                return Err(csv(line, problem, "give every row one field per column"));
            }
            let time = fixed::read(&row[0], 3).ok_or_else(|| {
                csv(
                    line,
                    format!("the time is \"{}\"", short(&row[0])),
                    "give milliseconds, at most 3 decimals",
                )
            })?;
            match frames {
                0 => start_us = time,
                1 => frame_us = time - start_us,
                _ => {}
            }
            if frames > 0 && (frame_us <= 0 || start_us + frame_us * frames as i64 != time) {
                let problem = format!("the time {} does not go on in equal steps", row[0]);
                return Err(csv(line, problem, "give one row per frame, equally spaced"));
            }
            for (k, (cell, column)) in row[1..].iter().zip(&mut cells).enumerate() {
                if cell.is_empty() {
                    continue;
                }
                // One column is smooth throughout or not at all.
                let alike =
                    |slope: &Option<i32>| column.last().is_none_or(|k| k.2.is_some() == slope.is_some());
                let read = read_cell(cell).filter(|(_, slope)| alike(slope));
                let (tenths, slope) = read.ok_or_else(|| {
                    let problem =
                        format!("the pulse of \"{}\" is \"{}\"", short(&header[k + 1]), short(cell));
                    csv(line, problem, CELL_FIX)
                })?;
                column.push((frames, tenths, slope));
            }
            frames += 1;
            if frames > MAX_FRAMES {
                return Err(csv(
                    line,
                    "there are more than 2000000 rows",
                    "cut the track into shorter lines",
                ));
            }
        }
        let servos = header.into_iter().skip(1).zip(cells).map(|(name, knots)| {
            let motion = if knots.first().is_some_and(|k| k.2.is_some()) {
                Motion::Smooth(knots.into_iter().map(|k| (k.0, k.1, k.2.unwrap_or_default())).collect())
            } else if knots.len() == frames {
                Motion::Dense(knots.into_iter().map(|k| k.1).collect())
            } else {
                Motion::Keyed(knots.into_iter().map(|k| (k.0, k.1)).collect())
            };
            TrackServo { name, output: None, motion }
        });
        Self {
            meta: TrackMeta::default(),
            rig_name: String::new(),
            rig_sha256: String::new(),
            frame_us,
            start_us,
            frames,
            servos: servos.collect(),
        }
        .checked()
    }

    /// Writes the table, reads it back and verifies it against the rig.
    ///
    /// # Errors
    /// Where the track breaks a limit of the rig, or does not read back as itself.
    pub fn export_csv(&self, rig: &crate::rig::Rig) -> Result<String, ExportError> {
        // What the table cannot say is taken from the track itself, after the pulses have come back.
        let text = self.to_csv();
        let mut back = Self::from_csv(&text)?;
        back.meta = self.meta.clone();
        back.rig_name.clone_from(&self.rig_name);
        back.rig_sha256.clone_from(&self.rig_sha256);
        for (servo, own) in back.servos.iter_mut().zip(&self.servos) {
            servo.output.clone_from(&own.output);
            if let (Motion::Dense(pulses), Motion::Keyed(_)) = (&servo.motion, &own.motion) {
                servo.motion = Motion::Keyed(pulses.iter().copied().enumerate().collect());
            }
        }
        super::recheck(self, &back, rig)?;
        Ok(text)
    }
}

const CELL_FIX: &str =
    "give 0 to 10000 us with at most one decimal, in a smooth column followed by a space and a slope";

/// A pulse in tenths of a microsecond, and a slope in hundredths per frame where there is one.
fn read_cell(text: &str) -> Option<(u32, Option<i32>)> {
    let (pulse, slope) = text.split_once(' ').map_or((text, None), |(p, s)| (p, Some(s)));
    let tenths = fixed::read(pulse, 1)
        .filter(|t| (0..=(fixed::LONGEST_PULSE_US * 10.0) as i64).contains(t))
        .and_then(|t| u32::try_from(t).ok())?;
    let Some(slope) = slope else { return Some((tenths, None)) };
    let steepest = (fixed::LONGEST_PULSE_US * 100.0) as i64;
    let hundredths = fixed::read(slope, 2).filter(|h| h.abs() <= steepest)?;
    Some((tenths, Some(i32::try_from(hundredths).ok()?)))
}

const HEADER_FIX: &str = "start with a header row: time_ms, then the servos' names";

fn csv(line: usize, problem: impl Into<String>, fix: &'static str) -> TrackError {
    TrackError::Csv { line, problem: problem.into(), fix }
}

fn short(text: &str) -> String {
    text.chars().take(40).collect()
}

/// A field as RFC 4180 wants it: in double quotes where it holds a comma, a quote or a line break.
/// Surrounding spaces are part of a field; quotes keep other readers from trimming them.
fn quoted(field: &str) -> String {
    let spaces = field.starts_with(' ') || field.ends_with(' ');
    if spaces || field.is_empty() || field.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

/// Rows of a table with the line each starts on.
struct Rows<'a> {
    rest: &'a str,
    line: usize,
}

impl<'a> Rows<'a> {
    fn new(text: &'a str) -> Self {
        Self { rest: text, line: 1 }
    }

    /// One field; says whether the row goes on after it.
    fn field(&mut self) -> Result<(String, bool), TrackError> {
        let mut field = String::new();
        if let Some(mut rest) = self.rest.strip_prefix('"') {
            loop {
                let Some(end) = rest.find('"') else {
                    return Err(csv(
                        self.line,
                        "a quoted field does not end",
                        "close it with a double quote",
                    ));
                };
                self.line += rest[..end].matches('\n').count();
                field.push_str(&rest[..end]);
                rest = &rest[end + 1..];
                match rest.strip_prefix('"') {
                    Some(more) => {
                        field.push('"');
                        rest = more;
                    }
                    None => break,
                }
            }
            self.rest = rest;
        } else {
            let end = self.rest.find([',', '\n', '"']).unwrap_or(self.rest.len());
            if self.rest[end..].starts_with('"') {
                return Err(csv(
                    self.line,
                    "a double quote stands inside a plain field",
                    "quote the whole field and double the quotes inside it",
                ));
            }
            let plain = &self.rest[..end];
            let cut = if self.rest[end..].starts_with(',') {
                plain
            } else {
                plain.strip_suffix('\r').unwrap_or(plain)
            };
            field.push_str(cut);
            self.rest = &self.rest[end..];
        }
        if let Some(rest) = self.rest.strip_prefix(',') {
            self.rest = rest;
            return Ok((field, true));
        }
        let rest = self.rest.strip_prefix("\r\n").or_else(|| self.rest.strip_prefix('\n'));
        match rest {
            Some(rest) => {
                self.rest = rest;
                self.line += 1;
                Ok((field, false))
            }
            None if self.rest.is_empty() => Ok((field, false)),
            None => {
                let problem = "text follows a closing quote";
                Err(csv(self.line, problem, "put a comma or a line end after the quote"))
            }
        }
    }
}

impl Iterator for Rows<'_> {
    type Item = Result<(usize, Vec<String>), TrackError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.rest.is_empty() {
            return None;
        }
        let line = self.line;
        let mut row = Vec::new();
        loop {
            match self.field() {
                Ok((field, more)) => {
                    row.push(field);
                    if !more {
                        return Some(Ok((line, row)));
                    }
                }
                Err(e) => {
                    self.rest = "";
                    return Some(Err(e));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4180 vector: the fields `a`, `b "x"`, `c,d`.
    #[test]
    fn quoting_vector() {
        let row = ["a", "b \"x\"", "c,d"].map(quoted).join(",");
        assert_eq!(row, "a,\"b \"\"x\"\"\",\"c,d\"");
        let mut rows = Rows::new("a,\"b \"\"x\"\"\",\"c,d\"\r\n");
        let fields = rows.next().expect("a row").expect("well formed").1;
        assert_eq!(fields, ["a", "b \"x\"", "c,d"]);
        assert!(rows.next().is_none());
    }
}
