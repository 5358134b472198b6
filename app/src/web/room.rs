//! Memory for what is large: asked for before it is taken. A program that runs out of memory stops where
//! it stands, so rows of bytes and numbers that a person's file makes long are moved here, where a
//! refusal is an error with words.

use js_sys::{Float32Array, Function, Reflect, Uint8Array};
use wasm_bindgen::{JsCast, JsValue};

/// What to do where memory does not suffice.
fn refused(bytes: usize) -> String {
    format!(
        "there is not enough memory for another {:.0} MB; close other tabs or programs, or cut the recording into shorter ones",
        (bytes as f64 / 1e6).ceil()
    )
}

/// A row of this length, or the words for why there is none.
fn row<T: Clone + Default>(length: usize) -> Result<Vec<T>, String> {
    let mut row = Vec::new();
    row.try_reserve_exact(length).map_err(|_| refused(length.saturating_mul(size_of::<T>())))?;
    row.resize(length, T::default());
    Ok(row)
}

/// The browser's bytes as the program's own.
///
/// # Errors
/// Words for a person, where they do not fit.
pub fn bytes(array: &Uint8Array) -> Result<Vec<u8>, String> {
    let mut out = row(array.length() as usize)?;
    array.copy_to(&mut out);
    Ok(out)
}

/// The browser's numbers as the program's own.
///
/// # Errors
/// Words for a person, where they do not fit.
pub fn numbers(array: &Float32Array) -> Result<Vec<f32>, String> {
    let mut out = row(array.length() as usize)?;
    array.copy_to(&mut out);
    Ok(out)
}

/// An array of the browser's own; its usual constructors throw through the program.
fn made<T: JsCast>(name: &str, length: usize, size: usize) -> Result<T, String> {
    let make = || -> Result<T, JsValue> {
        let constructor: Function = super::js::get(&js_sys::global(), name).dyn_into()?;
        Reflect::construct(&constructor, &js_sys::Array::of1(&(length as f64).into()))?.dyn_into()
    };
    make().map_err(|_| refused(length.saturating_mul(size)))
}

/// The program's bytes as the browser's.
///
/// # Errors
/// Words for a person, where they do not fit.
pub fn byte_array(bytes: &[u8]) -> Result<Uint8Array, String> {
    let array: Uint8Array = made("Uint8Array", bytes.len(), 1)?;
    array.copy_from(bytes);
    Ok(array)
}

/// The program's numbers as the browser's.
///
/// # Errors
/// Words for a person, where they do not fit.
pub fn number_array(numbers: &[f32]) -> Result<Float32Array, String> {
    let array: Float32Array = made("Float32Array", numbers.len(), size_of::<f32>())?;
    array.copy_from(numbers);
    Ok(array)
}

/// Whether the program could take this much more; it is not kept.
///
/// # Errors
/// Words for a person, where it could not.
pub fn for_more(bytes: usize) -> Result<(), String> {
    let mut trial = Vec::<u8>::new();
    trial.try_reserve_exact(bytes).map_err(|_| refused(bytes))?;
    // Looked at, or the compiler would leave the trial out.
    std::hint::black_box(trial.as_ptr());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_memory_holds_is_refused_in_words() {
        let words = for_more(usize::MAX / 2).expect_err("more than any machine has");
        assert!(words.contains("not enough memory") && words.contains("shorter"), "{words}");
        assert!(row::<f32>(usize::MAX).expect_err("more than there are addresses").contains("MB"));
        assert_eq!(row::<u8>(3), Ok(vec![0; 3]));
        for_more(1000).expect("a thousand bytes");
    }
}
