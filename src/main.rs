//! Greyhold: arguments, logging, start.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
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
