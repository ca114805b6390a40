//! Why anything is computed again, and why not.
//!
//! A task is a function of what it declares: settings, inputs, code, outside tool. All of that is hashed into its
//! *key* ([`key`]). If the store has a record under the key, its outputs are what the task would give, and it is
//! *reused*; else it is *built*. Nothing else decides: no time, no order, no name of the study, sample or variant.
//! So two variants that ask for the same thing share it, and a setting that is put back finds its earlier results.
//!
//! Inputs enter by the hash of their content, not by the key of their producer. A task that is built again and
//! gives the same bytes leaves everything behind it reused. The price: what lies behind a task that is out of
//! date cannot be told without computing, and `why` calls it *undecided* ([`assess`]).
//!
//! To say something about such a task all the same there is the *partial key*, the key without the content of the
//! inputs. Records lie in folders by partial key. If none of those there agrees with the inputs that are already
//! known, no outcome of the others can make the task reused: it is out of date for certain.
//!
//! What `why` says and what `run` then does agree:
//! every task called *out of date* is built, none called *up to date* or *in store* is.
//! A task counts as built if its record came into being in that run, even if another task with the same key gave it.
//!
//! Raw files and results are known by size, times and inode, and read again if those differ
//! ([`crate::store::stamp`]). Objects of the store are checked when they are read; one that is missing or damaged
//! makes its producer run again, on the spot and only if somebody needs the object. Objects are shared by content,
//! so two tasks can lose the same one; then both run again, whichever of them brought it back.
//!
//! The old value in a reason ([`reason`]) comes from the record that the task had in the last whole run.

pub mod assess;
pub mod declared;
pub mod key;
pub mod raw;
pub mod reason;
