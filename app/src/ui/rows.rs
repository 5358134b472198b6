//! Long lists whose rows are written over, not made anew.
//!
//! An edit changes what stands in hundreds of rows: whatever comes after it has another number. Rows made
//! anew as views of their own each leave something behind for good: the reactive library (reactive_graph
//! 0.2.16) keeps the room of every owner that a list ever had below it, and the subscription of every effect
//! that listened to a signal of the page. So these lists have one effect each, which keeps the elements and
//! writes into them what has changed.

use leptos::html;
use leptos::prelude::*;
use std::ops::Range;
use web_sys::Element;

/// What stands in a row.
pub trait Row: Clone + PartialEq + 'static {
    /// Its number, where it has one: `data-row` of the element, and what decides whether it is meant.
    fn number(&self) -> Option<usize>;

    /// Writes it into its element, an empty one where there is nothing `before`.
    fn write(&self, into: &Element, before: Option<&Self>);
}

/// Keeps a list's rows as `rows` says, and says of each whether its number is among those that are `meant`,
/// in an ARIA attribute.
pub fn keep<R: Row>(
    list: NodeRef<html::Ul>,
    rows: impl Fn() -> Vec<R> + 'static,
    attribute: &'static str,
    meant: Memo<Range<usize>>,
) {
    Effect::new(move |before: Option<Vec<(Element, R)>>| {
        let (rows, meant) = (rows(), meant.get());
        let mut kept = before.unwrap_or_default();
        let Some(list) = list.get() else { return kept };
        for (element, _) in kept.drain(rows.len().min(kept.len())..) {
            element.remove();
        }
        for (i, row) in rows.into_iter().enumerate() {
            match kept.get_mut(i) {
                Some((_, old)) if *old == row => {}
                Some((element, old)) => {
                    row.write(element, Some(old));
                    *old = row;
                }
                None => {
                    let Some(element) = add(&list, "li") else { break };
                    row.write(&element, None);
                    kept.push((element, row));
                }
            }
        }
        for (element, row) in &kept {
            match row.number() {
                Some(number) => {
                    set(element, "data-row", &number.to_string());
                    set(element, attribute, if meant.contains(&number) { "true" } else { "false" });
                }
                None => {
                    // Fails for no attribute that has a name.
                    let _ = element.remove_attribute("data-row");
                    let _ = element.remove_attribute(attribute);
                }
            }
        }
        kept
    });
}

/// Sets an attribute, where it is not so already.
pub fn set(element: &Element, name: &str, value: &str) {
    if element.get_attribute(name).as_deref() != Some(value) {
        // Fails for no attribute that has a name.
        let _ = element.set_attribute(name, value);
    }
}

/// A new element at the end of another.
pub fn add(to: &Element, name: &str) -> Option<Element> {
    let element = document().create_element(name).ok()?;
    to.append_child(&element).ok()?;
    Some(element)
}
