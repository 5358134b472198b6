//! Processes as Linux tells of them under `/proc`; elsewhere there are none.

use std::fs::{read_dir, read_to_string};

/// A process's parent.
fn parent(id: u32) -> Option<u32> {
    // The name stands in brackets and may hold anything: what counts follows the last of them.
    let stat = read_to_string(format!("/proc/{id}/stat")).ok()?;
    stat.rsplit(')').next()?.split_whitespace().nth(1)?.parse().ok()
}

/// The processes that a process began, and those that they began, and so on.
#[must_use]
pub fn below(id: u32) -> Vec<u32> {
    let Ok(list) = read_dir("/proc") else { return Vec::new() };
    let all: Vec<(u32, u32)> = list
        .filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok())
        .filter_map(|id| Some((id, parent(id)?)))
        .collect();
    let mut found = vec![id];
    let mut at = 0;
    while at < found.len() {
        let of = found[at];
        found.extend(all.iter().filter(|(_, parent)| *parent == of).map(|(id, _)| *id));
        at += 1;
    }
    found.split_off(1)
}

/// What a process was called with.
#[must_use]
pub fn command_line(id: u32) -> String {
    read_to_string(format!("/proc/{id}/cmdline")).unwrap_or_default().replace('\0', " ")
}

/// Memory of a process, bytes: its own, and its share of what it shares.
#[must_use]
pub fn memory(id: u32) -> Option<u64> {
    let text = read_to_string(format!("/proc/{id}/smaps_rollup")).ok()?;
    let line = text.lines().find(|l| l.starts_with("Pss:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}
