//! Which rows of a long list are meant.

use leptos::html;
use leptos::prelude::*;
use std::ops::Range;

/// Says of each row of a list, by its `data-row`, whether it is among those that are meant, in an ARIA
/// attribute. A row that is made anew is to begin with the right value.
///
/// One effect for all rows: rows that listened themselves would each leave a subscription behind for good
/// when they go (the signal keeps it, and asks it at every change), and an edit makes hundreds anew.
pub fn mark(list: NodeRef<html::Ul>, attribute: &'static str, meant: Memo<Range<usize>>) {
    Effect::new(move || {
        let meant = meant.get();
        let mut next = list.get().and_then(|l| l.first_element_child());
        while let Some(row) = next {
            if let Some(index) = row.get_attribute("data-row").and_then(|i| i.parse::<usize>().ok()) {
                let value = if meant.contains(&index) { "true" } else { "false" };
                if row.get_attribute(attribute).as_deref() != Some(value) {
                    // Fails for no attribute that has a name.
                    let _ = row.set_attribute(attribute, value);
                }
            }
            next = row.next_element_sibling();
        }
    });
}
