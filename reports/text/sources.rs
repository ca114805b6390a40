//! The literature behind what the report says, by key; the methods text cites it, the document lists what was cited.

/// A source: its key and how it is printed.
pub type Source = (&'static str, &'static str);

/// All sources, in the order of their printing.
pub const SOURCES: [Source; 12] = [
    (
        "ewoldt-2015",
        "R. H. Ewoldt, M. T. Johnston & L. M. Caretta, Experimental challenges of shear rheology: how to avoid bad \
         data, in Complex Fluids in Biological Systems, Springer (2015)",
    ),
    ("fieller-1954", "E. C. Fieller, Some problems in interval estimation, J. R. Stat. Soc. B 16, 175–185 (1954)"),
    (
        "gadala-maria-1980",
        "F. Gadala-Maria & A. Acrivos, Shear-induced structure in a concentrated suspension of solid spheres, \
         J. Rheol. 24, 799–814 (1980)",
    ),
    (
        "hampel-1974",
        "F. R. Hampel, The influence curve and its role in robust estimation, J. Am. Stat. Assoc. 69, 383–393 (1974)",
    ),
    (
        "jcgm-100",
        "JCGM 100:2008, Evaluation of measurement data — Guide to the expression of uncertainty in measurement",
    ),
    (
        "jcgm-101",
        "JCGM 101:2008, Evaluation of measurement data — Supplement 1: Propagation of distributions using a Monte \
         Carlo method",
    ),
    (
        "krieger-1959",
        "I. M. Krieger & T. J. Dougherty, A mechanism for non-Newtonian flow in suspensions of rigid spheres, Trans. \
         Soc. Rheol. 3, 137–152 (1959)",
    ),
    (
        "lin-2015",
        "N. Y. C. Lin, B. M. Guy, M. Hermes, C. Ness, J. Sun, W. C. K. Poon & I. Cohen, Hydrodynamic and contact \
         contributions to continuous shear thickening in colloidal suspensions, Phys. Rev. Lett. 115, 228304 (2015)",
    ),
    (
        "maron-1956",
        "S. H. Maron & P. E. Pierce, Application of Ree–Eyring generalized flow theory to suspensions of \
      spherical particles, J. Colloid Sci. 11, 80–95 (1956)",
    ),
    (
        "ness-2016",
        "C. Ness & J. Sun, Two-scale evolution during shear reversal in dense suspensions, Phys. Rev. E 93, 012604 \
         (2016)",
    ),
    (
        "savitzky-1964",
        "A. Savitzky & M. J. E. Golay, Smoothing and differentiation of data by simplified least squares procedures, \
         Anal. Chem. 36, 1627–1639 (1964)",
    ),
    (
        "wyart-2014",
        "M. Wyart & M. E. Cates, Discontinuous shear thickening without inertia in dense non-Brownian suspensions, \
         Phys. Rev. Lett. 112, 098302 (2014)",
    ),
];

/// How the source with this key is printed.
pub fn printed(key: &str) -> Option<&'static str> {
    SOURCES.iter().find(|s| s.0 == key).map(|s| s.1)
}
