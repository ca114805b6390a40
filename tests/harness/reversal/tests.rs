//! Small trial.
