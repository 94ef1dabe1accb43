//! The chart of 24 patches: the colours that a picture is made of, as far as a chart has them.

/// Names of [`PATCHES`].
pub const NAMES: [&str; 24] = [
    "dark skin",
    "light skin",
    "blue sky",
    "foliage",
    "blue flower",
    "bluish green",
    "orange",
    "purplish blue",
    "moderate red",
    "purple",
    "yellow green",
    "orange yellow",
    "blue",
    "green",
    "red",
    "yellow",
    "magenta",
    "cyan",
    "white 9.5",
    "neutral 8",
    "neutral 6.5",
    "neutral 5",
    "neutral 3.5",
    "black 2",
];

/// The 24 patches of the ColorChecker in scene-linear ACEScg, under a light that makes a perfect diffuser 1: the values of
/// charts since November 2014, as colour-science 0.4.7 has them ("ColorChecker24 - After November 2014"), from D50
/// to the ACES white by Bradford. The first two are skin.
pub const PATCHES: [[f64; 3]; 24] = [
    [0.135748, 0.085090, 0.058181],
    [0.447417, 0.296322, 0.225350],
    [0.143623, 0.184845, 0.308940],
    [0.118429, 0.146242, 0.062911],
    [0.231783, 0.216325, 0.398869],
    [0.262467, 0.478613, 0.415561],
    [0.527384, 0.237929, 0.063480],
    [0.088751, 0.102055, 0.349551],
    [0.376079, 0.114259, 0.119977],
    [0.087742, 0.048000, 0.126998],
    [0.374913, 0.479683, 0.098393],
    [0.595237, 0.382310, 0.072872],
    [0.042456, 0.048850, 0.252770],
    [0.130314, 0.271677, 0.086418],
    [0.287844, 0.065185, 0.048444],
    [0.711308, 0.585431, 0.084313],
    [0.360399, 0.111820, 0.270918],
    [0.070287, 0.216114, 0.352769],
    [0.879301, 0.883887, 0.840683],
    [0.587133, 0.591479, 0.585279],
    [0.361260, 0.366365, 0.365282],
    [0.190354, 0.190783, 0.189921],
    [0.087071, 0.088546, 0.089601],
    [0.031450, 0.031495, 0.032210],
];
