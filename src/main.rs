//! Greyhold: arguments, logging, start.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    quiet_runtime_folder();
    let arguments = greyhold::cli::Arguments::parse();
    let level = match arguments.verbose {
        0 => "warn,wgpu_hal=error,wgpu_core=error",
        1 => "info,wgpu_hal=error,wgpu_core=warn",
        _ => "debug",
    };
    let filter = std::env::var("GREYHOLD_LOG").unwrap_or_else(|_| level.to_owned());
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).without_time().init();
    match arguments.run() {
        Ok(code) => code,
        Err(e) => {
            eprintln!("greyhold: {e:#}");
            ExitCode::from(2)
        }
    }
}

/// Wayland's library complains on standard error where this variable is unset, also when nobody wants a
/// window.
fn quiet_runtime_folder() {
    if cfg!(target_os = "linux") && std::env::var_os("XDG_RUNTIME_DIR").is_none() {
        // SAFETY: no other thread has been started.
        unsafe { std::env::set_var("XDG_RUNTIME_DIR", std::env::temp_dir()) };
    }
}
