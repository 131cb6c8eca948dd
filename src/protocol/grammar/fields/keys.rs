//! Which keys belong to which kind of field, and to which layout.

use super::Place;
use crate::protocol::format::file::{FieldFile, Is, LayoutKind};
use crate::protocol::grammar::build::{Faults, span};

/// Says of each key that has no meaning for this kind of field, or in this layout.
pub(super) fn misplaced(file: &FieldFile, place: Place, faults: &mut Faults) {
    use Is::{
        Bcd, Decimal, Flags, Float, Hex, Integer, Length, Literal, Signed as Int, Skip, Text as Chars, Time as Clock,
        Unsigned,
    };
    let is = file.is.value;
    let layout = place.layout;
    let binary = layout == LayoutKind::Binary;
    let characters = matches!(is, Decimal | Integer | Hex | Chars | Is::Choice | Clock);
    let number = matches!(is, Decimal | Integer | Hex | Unsigned | Int | Float | Bcd);
    let valued = characters || number;
    faults.misplaced(
        &[
            ("name", span(&file.name), valued),
            ("means", span(&file.means), valued),
            ("width", span(&file.width), characters || is == Skip),
            ("pad", span(&file.pad), matches!(is, Decimal | Integer | Chars | Is::Choice)),
            ("align", span(&file.align), matches!(is, Decimal | Integer | Chars | Is::Choice)),
            ("decimals", span(&file.decimals), matches!(is, Decimal | Float)),
            ("implied", span(&file.implied), matches!(is, Decimal | Hex | Unsigned | Int | Bcd)),
            ("times", span(&file.times), matches!(is, Decimal | Hex | Unsigned | Int | Bcd)),
            ("mark", span(&file.mark), is == Decimal),
            ("sign", span(&file.sign), matches!(is, Decimal | Integer | Bcd)),
            ("sign_at", span(&file.sign_at), matches!(is, Decimal | Integer)),
            ("bytes", span(&file.bytes), matches!(is, Unsigned | Int | Float | Bcd | Flags | Length | Skip) || binary),
            ("order", span(&file.order), matches!(is, Unsigned | Int | Float | Flags) || (binary && is == Is::Choice)),
            ("literal", span(&file.literal), is == Literal),
            ("values", span(&file.values), is == Is::Choice),
            ("unit", span(&file.unit), number),
            ("unit_from", span(&file.unit_from), number),
            ("range", span(&file.range), number),
            ("chars", span(&file.chars), is == Chars),
            ("pattern", span(&file.pattern), is == Clock),
            ("zone", span(&file.zone), is == Clock),
            ("fill", span(&file.fill), is == Skip),
        ],
        "a field of this kind",
    );
    faults.misplaced(
        &[
            ("columns", span(&file.columns), layout == LayoutKind::Columns),
            ("key", span(&file.key), layout == LayoutKind::Keyed),
            ("pointer", span(&file.pointer), layout == LayoutKind::Json),
            ("quoted", span(&file.quoted), layout == LayoutKind::Json),
            ("at", span(&file.at), binary),
            ("before", span(&file.before), valued && layout != LayoutKind::Json),
            ("behind", span(&file.behind), valued && layout != LayoutKind::Json),
        ],
        "this layout",
    );
    if matches!(is, Unsigned | Int | Float | Bcd | Flags) && !binary {
        faults.add(&file.is.span, "a binary field found, which only the layout \"binary\" can hold");
    }
    if (file.open || file.chooses) && is != Is::Choice {
        faults.add(&file.is.span, "`open` and `chooses` have no meaning but for a choice");
    }
    if !file.bits.is_empty() && is != Flags {
        faults.add(&file.is.span, "`bits` have no meaning but for flags");
    }
}
