//! Tests of the whole stage.
