//! gpu.
