//! Formats: what the program writes and prints, one file each.

pub(crate) mod atomic;
pub(crate) mod canvas;
pub(crate) mod chart;
pub(crate) mod colour;
pub(crate) mod csv;
pub(crate) mod drive_csv;
pub(crate) mod drive_view;
pub(crate) mod figure;
pub(crate) mod json;
pub(crate) mod life_view;
pub(crate) mod matrix_market;
pub(crate) mod mesh_view;
pub(crate) mod mode_view;
pub(crate) mod numbers;
pub(crate) mod panel;
#[cfg(test)]
pub(crate) mod sample;
pub(crate) mod shape_view;
pub(crate) mod strain_map;
pub(crate) mod swing_view;
pub(crate) mod table;
pub(crate) mod vtu;
