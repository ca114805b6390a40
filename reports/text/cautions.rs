//! What the report must not be read as, and the cautions that go with the trade. Fixed text only.

/// Limits of what a reversal can say.
pub const LIMITS: [&str; 4] = [
    "A reversal measures the stress that the same arrangement of particles would have if contact forces vanished, \
     because that is what turns round with the motion. It is not the split of a simulation's stress into forces \
     between pairs, which no reversal can see.",
    "Value at zero strain, early plateau and minimum are three measurands, and differ by several hundredths of the \
     contact share. The headline is the value at zero strain; the others stand beside it in the table of reversals.",
    "Adhesion between particles, slip at the walls, migration, settling and drying can make a torque fall as well. \
     Where the data speak to them, the remarks say so; where they are silent, this report cannot exclude them.",
    "At constant rate the stress falls at the reversal, so in the range of thickening the friction state itself \
     changes during the transient.",
];

/// Cautions.
pub const CAUTIONS: [&str; 3] = [
    "This report reduces research data. It is no basis for the safety of equipment or people.",
    "Follow the instructions of the instrument's maker and of the site on rotating geometries.",
    "Fine dry powder can form explosive clouds of dust and harm the lungs: safety data sheets, local rules and trained \
     supervision come first.",
];
