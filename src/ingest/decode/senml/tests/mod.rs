//! The standard's own examples, each rule, and both encodings against each
//! other.

mod both;
mod examples;
mod rules;
