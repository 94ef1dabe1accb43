//! How a list of a shot's own parameters is declared, once, for everything that needs to know about it.

/// Declares a list of parameters and an enum of their names, in the same order.
macro_rules! parameters {
    (
        $(#[doc = $list_doc:literal])+
        $list:ident,
        $(#[doc = $enum_doc:literal])+
        $enum:ident;
        $(
            $(#[doc = $doc:literal])+
            $field:ident $key:literal: $unit:ident $(($choices:expr))? = $default:literal in $min:literal..$max:literal step $step:literal $scale:ident;
        )+
    ) => {
        $(#[doc = $list_doc])+
        pub static $list: &[$crate::look::Parameter] = &[$(
            $crate::look::Parameter {
                key: $key,
                doc: concat!($($doc),+),
                unit: $crate::look::Unit::$unit $(($choices))?,
                default: $default,
                min: $min,
                max: $max,
                step: $step,
                scale: $crate::look::Scale::$scale,
            }
        ),+];

        $(#[doc = $enum_doc])+
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[repr(usize)]
        pub enum $enum {
            $( $(#[doc = $doc])+ $field, )+
        }

        impl $enum {
            /// All of them, in order.
            pub const ALL: &[Self] = &[$( Self::$field ),+];

            /// How many there are.
            pub const COUNT: usize = Self::ALL.len();

            /// What is declared about it.
            pub fn parameter(self) -> &'static $crate::look::Parameter {
                &$list[self as usize]
            }

            /// The one with a key, if any.
            pub fn of_key(key: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|f| f.parameter().key == key)
            }
        }
    };
}
pub(super) use parameters;
