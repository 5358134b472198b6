//! What is kept of the project between visits, and which earlier states of it.

mod history;
mod state;

pub use history::{Entry, Plan, plan};
pub use state::{KeptLine, KeptOrigin, KeptOther, KeptRig, KeptState};
