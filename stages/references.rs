//! The literature, once: what doc comments and the report cite, by key. No formulas, no prose about them.
//!
//! A key is the first author and the year. `checked` says what of an entry was seen in records of others; the rest is
//! from memory. What was not seen is not printed as if it were: see [`Reference::citation`].

/// Where the particulars of an entry were seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// At least two lists of references in public repositories, which agree.
    Bibliographies,
    /// One such list.
    Bibliography,
    /// A page with the abstract, of the publisher or of a collection of preprints.
    Abstract,
    /// The catalogue of a body that issues standards.
    Catalogue,
}

/// What of an entry was seen in such records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Checked {
    /// Nothing: the paper was looked for and not found.
    Nothing,
    /// Authors, title and year.
    Title(Record),
    /// Authors, title, year and digital object identifier.
    TitleAndDoi(Record),
    /// Authors, title, year, and journal, volume and pages or publisher; for a standard its number.
    Place(Record),
    /// All, the digital object identifier too.
    Whole(Record),
}

/// A source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reference {
    /// `author-year`, or the number of a standard.
    pub key: &'static str,
    /// Authors with initials, `&` before the last; the body that issued a standard.
    pub authors: &'static str,
    /// Year.
    pub year: u16,
    /// Title.
    pub title: &'static str,
    /// Journal, or book and publisher.
    pub journal: &'static str,
    /// Volume; empty where there is none.
    pub volume: &'static str,
    /// Pages or number of the article; empty where there are none.
    pub pages: &'static str,
    /// Digital object identifier; empty where none is known.
    pub doi: &'static str,
    /// What was seen in records of others.
    pub checked: Checked,
}

impl Reference {
    /// Authors, title, journal volume, pages (year); no title that nobody could confirm, so that a slip of memory does
    /// not send a reader after a paper that does not exist.
    pub fn citation(&self) -> String {
        let mut text = self.authors.to_owned();
        if self.checked != Checked::Nothing {
            text.push_str(&format!(", {}", self.title));
        }
        if !self.journal.is_empty() {
            text.push_str(&format!(", {}", self.journal));
        }
        if !self.volume.is_empty() {
            text.push_str(&format!(" {}", self.volume));
        }
        if !self.pages.is_empty() {
            text.push_str(&format!(", {}", self.pages));
        }
        text.push_str(&format!(" ({})", self.year));
        text
    }

    /// The digital object identifier if it was confirmed, else empty.
    pub const fn confirmed_doi(&self) -> &'static str {
        match self.checked {
            Checked::Whole(_) | Checked::TitleAndDoi(_) => self.doi,
            Checked::Nothing | Checked::Title(_) | Checked::Place(_) => "",
        }
    }

    /// The citation and the confirmed identifier in one line.
    pub fn printed(&self) -> String {
        match self.confirmed_doi() {
            "" => self.citation(),
            doi => format!("{}, doi:{doi}", self.citation()),
        }
    }
}

/// The source with this key.
pub fn find(key: &str) -> Option<&'static Reference> {
    ALL.binary_search_by(|r| r.key.cmp(key)).ok().map(|at| &ALL[at])
}

/// What an entry does not have.
const NONE: Reference = Reference {
    key: "",
    authors: "",
    year: 0,
    title: "",
    journal: "",
    volume: "",
    pages: "",
    doi: "",
    checked: Checked::Nothing,
};

/// All sources, sorted by key.
pub const ALL: &[Reference] = &[
    Reference {
        key: "abramowitz-1964",
        authors: "M. Abramowitz & I. A. Stegun (eds.)",
        year: 1964,
        title: "Handbook of mathematical functions",
        journal: "National Bureau of Standards, Applied Mathematics Series 55",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "akaike-1974",
        authors: "H. Akaike",
        year: 1974,
        title: "A new look at the statistical model identification",
        journal: "IEEE Trans. Autom. Control",
        volume: "19",
        pages: "716–723",
        doi: "10.1109/TAC.1974.1100705",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "baarda-1968",
        authors: "W. Baarda",
        year: 1968,
        title: "A testing procedure for use in geodetic networks",
        journal: "Netherlands Geodetic Commission, Publications on Geodesy",
        volume: "2",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "birge-1932",
        authors: "R. T. Birge",
        year: 1932,
        title: "The calculation of errors by the method of least squares",
        journal: "Phys. Rev.",
        volume: "40",
        pages: "207–227",
        doi: "10.1103/PhysRev.40.207",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "blanc-2011",
        authors: "F. Blanc, F. Peters & E. Lemaire",
        year: 2011,
        title: "Local transient rheological behavior of concentrated suspensions",
        journal: "J. Rheol.",
        volume: "55",
        pages: "835–854",
        doi: "10.1122/1.3582848",
        ..NONE
    },
    Reference {
        key: "burnham-2002",
        authors: "K. P. Burnham & D. R. Anderson",
        year: 2002,
        title: "Model selection and multimodel inference",
        journal: "Springer, 2nd edition",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "carreau-1972",
        authors: "P. J. Carreau",
        year: 1972,
        title: "Rheological equations from molecular network theories",
        journal: "Trans. Soc. Rheol.",
        volume: "16",
        pages: "99–127",
        doi: "10.1122/1.549276",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "cheng-2008",
        authors: "N.-S. Cheng",
        year: 2008,
        title: "Formula for the viscosity of a glycerol–water mixture",
        journal: "Ind. Eng. Chem. Res.",
        volume: "47",
        pages: "3285–3288",
        doi: "10.1021/ie071349z",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "cressie-1993",
        authors: "N. A. C. Cressie",
        year: 1993,
        title: "Statistics for spatial data",
        journal: "Wiley, revised edition",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "cross-1965",
        authors: "M. M. Cross",
        year: 1965,
        title: "Rheology of non-Newtonian fluids: a new flow equation for pseudoplastic systems",
        journal: "J. Colloid Sci.",
        volume: "20",
        pages: "417–437",
        doi: "10.1016/0095-8522(65)90022-X",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "eilers-1941",
        authors: "H. Eilers",
        year: 1941,
        title: "Die Viskosität von Emulsionen hochviskoser Stoffe als Funktion der Konzentration",
        journal: "Kolloid-Z.",
        volume: "97",
        pages: "313–321",
        doi: "10.1007/BF01503023",
        ..NONE
    },
    Reference {
        key: "einstein-1906",
        authors: "A. Einstein",
        year: 1906,
        title: "Eine neue Bestimmung der Moleküldimensionen",
        journal: "Ann. Phys.",
        volume: "324",
        pages: "289–306",
        doi: "10.1002/andp.19063240204",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "einstein-1911",
        authors: "A. Einstein",
        year: 1911,
        title: "Berichtigung zu meiner Arbeit: Eine neue Bestimmung der Moleküldimensionen",
        journal: "Ann. Phys.",
        volume: "339",
        pages: "591–592",
        doi: "10.1002/andp.19113390313",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "ewoldt-2015",
        authors: "R. H. Ewoldt, M. T. Johnston & L. M. Caretta",
        year: 2015,
        title: "Experimental challenges of shear rheology: how to avoid bad data",
        journal: "in S. E. Spagnolie (ed.), Complex fluids in biological systems, Springer",
        pages: "207–241",
        doi: "10.1007/978-1-4939-2065-5_6",
        checked: Checked::TitleAndDoi(Record::Bibliography),
        ..NONE
    },
    Reference {
        key: "fieller-1954",
        authors: "E. C. Fieller",
        year: 1954,
        title: "Some problems in interval estimation",
        journal: "J. R. Stat. Soc. B",
        volume: "16",
        pages: "175–185",
        doi: "10.1111/j.2517-6161.1954.tb00159.x",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "gadala-maria-1980",
        authors: "F. Gadala-Maria & A. Acrivos",
        year: 1980,
        title: "Shear-induced structure in a concentrated suspension of solid spheres",
        journal: "J. Rheol.",
        volume: "24",
        pages: "799–814",
        doi: "10.1122/1.549584",
        ..NONE
    },
    // A preprint of the same authors and abstract leaves out the first word of the title.
    Reference {
        key: "guy-2015",
        authors: "B. M. Guy, M. Hermes & W. C. K. Poon",
        year: 2015,
        title: "Towards a unified description of the rheology of hard-particle suspensions",
        journal: "Phys. Rev. Lett.",
        volume: "115",
        pages: "088304",
        ..NONE
    },
    Reference {
        key: "hampel-1974",
        authors: "F. R. Hampel",
        year: 1974,
        title: "The influence curve and its role in robust estimation",
        journal: "J. Am. Stat. Assoc.",
        volume: "69",
        pages: "383–393",
        doi: "10.1080/01621459.1974.10482962",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "hemingway-2019",
        authors: "E. J. Hemingway & S. M. Fielding",
        year: 2019,
        title: "Edge fracture instability in sheared complex fluids: onset criterion and possible mitigation strategy",
        journal: "J. Rheol.",
        volume: "63",
        pages: "735–750",
        checked: Checked::Title(Record::Abstract),
        ..NONE
    },
    Reference {
        key: "herschel-1926",
        authors: "W. H. Herschel & R. Bulkley",
        year: 1926,
        title: "Konsistenzmessungen von Gummi-Benzollösungen",
        journal: "Kolloid-Z.",
        volume: "39",
        pages: "291–300",
        doi: "10.1007/BF01432034",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "holm-1979",
        authors: "S. Holm",
        year: 1979,
        title: "A simple sequentially rejective multiple test procedure",
        journal: "Scand. J. Statist.",
        volume: "6",
        pages: "65–70",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "huber-1964",
        authors: "P. J. Huber",
        year: 1964,
        title: "Robust estimation of a location parameter",
        journal: "Ann. Math. Stat.",
        volume: "35",
        pages: "73–101",
        doi: "10.1214/aoms/1177703732",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "huber-1981",
        authors: "P. J. Huber",
        year: 1981,
        title: "Robust statistics",
        journal: "Wiley, New York",
        doi: "10.1002/0471725250",
        checked: Checked::Whole(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "hurvich-1989",
        authors: "C. M. Hurvich & C.-L. Tsai",
        year: 1989,
        title: "Regression and time series model selection in small samples",
        journal: "Biometrika",
        volume: "76",
        pages: "297–307",
        doi: "10.1093/biomet/76.2.297",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "iapws-r12-08",
        authors: "International Association for the Properties of Water and Steam",
        year: 2008,
        title: "Release on the IAPWS formulation 2008 for the viscosity of ordinary water substance",
        journal: "IAPWS R12-08",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    // It replaces ISO 3219:1993, from which the formulas were taken; its own text was not at hand.
    Reference {
        key: "iso-3219-2",
        authors: "International Organization for Standardization",
        year: 2021,
        title: "Rheology – Part 2: General principles of rotational and oscillatory rheometry",
        journal: "ISO 3219-2:2021",
        checked: Checked::Place(Record::Catalogue),
        ..NONE
    },
    Reference {
        key: "jcgm-100",
        authors: "Joint Committee for Guides in Metrology",
        year: 2008,
        title: "Evaluation of measurement data – Guide to the expression of uncertainty in measurement",
        journal: "JCGM 100:2008",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "jcgm-101",
        authors: "Joint Committee for Guides in Metrology",
        year: 2008,
        title: "Evaluation of measurement data – Supplement 1 to the Guide to the expression of uncertainty in measurement – Propagation of distributions using a Monte Carlo method",
        journal: "JCGM 101:2008",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "kennedy-2001",
        authors: "M. C. Kennedy & A. O’Hagan",
        year: 2001,
        title: "Bayesian calibration of computer models",
        journal: "J. R. Stat. Soc. B",
        volume: "63",
        pages: "425–464",
        doi: "10.1111/1467-9868.00294",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "krieger-1959",
        authors: "I. M. Krieger & T. J. Dougherty",
        year: 1959,
        title: "A mechanism for non-Newtonian flow in suspensions of rigid spheres",
        journal: "Trans. Soc. Rheol.",
        volume: "3",
        pages: "137–152",
        doi: "10.1122/1.548848",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "lin-2015",
        authors: "N. Y. C. Lin, B. M. Guy, M. Hermes, C. Ness, J. Sun, W. C. K. Poon & I. Cohen",
        year: 2015,
        title: "Hydrodynamic and contact contributions to continuous shear thickening in colloidal suspensions",
        journal: "Phys. Rev. Lett.",
        volume: "115",
        pages: "228304",
        doi: "10.1103/PhysRevLett.115.228304",
        checked: Checked::Whole(Record::Abstract),
    },
    Reference {
        key: "mackay-1992",
        authors: "D. J. C. MacKay",
        year: 1992,
        title: "Bayesian interpolation",
        journal: "Neural Comput.",
        volume: "4",
        pages: "415–447",
        doi: "10.1162/neco.1992.4.3.415",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "macosko-1994",
        authors: "C. W. Macosko",
        year: 1994,
        title: "Rheology: principles, measurements and applications",
        journal: "Wiley-VCH",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "maron-1956",
        authors: "S. H. Maron & P. E. Pierce",
        year: 1956,
        title: "Application of Ree–Eyring generalized flow theory to suspensions of spherical particles",
        journal: "J. Colloid Sci.",
        volume: "11",
        pages: "80–95",
        doi: "10.1016/0095-8522(56)90023-X",
        ..NONE
    },
    Reference {
        key: "more-1978",
        authors: "J. J. Moré",
        year: 1978,
        title: "The Levenberg–Marquardt algorithm: implementation and theory",
        journal: "in G. A. Watson (ed.), Numerical analysis, Lecture Notes in Mathematics, Springer",
        volume: "630",
        pages: "105–116",
        doi: "10.1007/BFb0067700",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "ness-2016",
        authors: "C. Ness & J. Sun",
        year: 2016,
        title: "Two-scale evolution during shear reversal in dense suspensions",
        journal: "Phys. Rev. E",
        volume: "93",
        pages: "012604",
        doi: "10.1103/PhysRevE.93.012604",
        checked: Checked::Title(Record::Abstract),
    },
    Reference {
        key: "orear-1982",
        authors: "J. Orear",
        year: 1982,
        title: "Least squares when both variables have uncertainties",
        journal: "Am. J. Phys.",
        volume: "50",
        pages: "912–916",
        doi: "10.1119/1.12972",
        checked: Checked::Whole(Record::Bibliographies),
    },
    // Two lists give two identifiers, so none stands here.
    Reference {
        key: "ostwald-1925",
        authors: "W. Ostwald",
        year: 1925,
        title: "Über die Geschwindigkeitsfunktion der Viskosität disperser Systeme",
        journal: "Kolloid-Z.",
        volume: "36",
        pages: "99–117",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "patton-2009",
        authors: "A. Patton, D. N. Politis & H. White",
        year: 2009,
        title: "Correction to “Automatic block-length selection for the dependent bootstrap”",
        journal: "Econom. Rev.",
        volume: "28",
        pages: "372–375",
        doi: "10.1080/07474930802459016",
        checked: Checked::Whole(Record::Bibliographies),
    },
    // The abstract of the conference paper of 2015 on the same study was seen.
    Reference {
        key: "peters-2016",
        authors: "F. Peters, G. Ghigliotti, S. Gallier, F. Blanc, E. Lemaire & L. Lobry",
        year: 2016,
        title: "Rheology of non-Brownian suspensions of rough frictional particles under shear reversal: a numerical study",
        journal: "J. Rheol.",
        volume: "60",
        pages: "715–732",
        doi: "10.1122/1.4954250",
        ..NONE
    },
    Reference {
        key: "politis-2004",
        authors: "D. N. Politis & H. White",
        year: 2004,
        title: "Automatic block-length selection for the dependent bootstrap",
        journal: "Econom. Rev.",
        volume: "23",
        pages: "53–70",
        doi: "10.1081/ETC-120028836",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "quemada-1977",
        authors: "D. Quemada",
        year: 1977,
        title: "Rheology of concentrated disperse systems and minimum energy dissipation principle. I. Viscosity–concentration relationship",
        journal: "Rheol. Acta",
        volume: "16",
        pages: "82–94",
        doi: "10.1007/BF01516932",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "richardson-1954",
        authors: "J. F. Richardson & W. N. Zaki",
        year: 1954,
        title: "Sedimentation and fluidisation: part I",
        journal: "Trans. Inst. Chem. Eng.",
        volume: "32",
        pages: "35–53",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "savitzky-1964",
        authors: "A. Savitzky & M. J. E. Golay",
        year: 1964,
        title: "Smoothing and differentiation of data by simplified least squares procedures",
        journal: "Anal. Chem.",
        volume: "36",
        pages: "1627–1639",
        doi: "10.1021/ac60214a047",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "schwarz-1978",
        authors: "G. Schwarz",
        year: 1978,
        title: "Estimating the dimension of a model",
        journal: "Ann. Stat.",
        volume: "6",
        pages: "461–464",
        doi: "10.1214/aos/1176344136",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "singh-2018",
        authors: "A. Singh, R. Mari, M. M. Denn & J. F. Morris",
        year: 2018,
        title: "A constitutive model for simple shear of dense frictional suspensions",
        journal: "J. Rheol.",
        volume: "62",
        pages: "457",
        checked: Checked::Place(Record::Abstract),
        ..NONE
    },
    Reference {
        key: "tanaka-2001",
        authors: "M. Tanaka, G. Girard, R. Davis, A. Peuto & N. Bignell",
        year: 2001,
        title: "Recommended table for the density of water between 0 °C and 40 °C based on recent experimental reports",
        journal: "Metrologia",
        volume: "38",
        pages: "301–309",
        doi: "10.1088/0026-1394/38/4/3",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "tanner-1983",
        authors: "R. I. Tanner & M. Keentok",
        year: 1983,
        title: "Shear fracture in cone-plate rheometry",
        journal: "J. Rheol.",
        volume: "27",
        pages: "47–57",
        doi: "10.1122/1.549764",
        ..NONE
    },
    Reference {
        key: "taylor-1923",
        authors: "G. I. Taylor",
        year: 1923,
        title: "Stability of a viscous liquid contained between two rotating cylinders",
        journal: "Phil. Trans. R. Soc. A",
        volume: "223",
        pages: "289–343",
        doi: "10.1098/rsta.1923.0008",
        checked: Checked::Whole(Record::Bibliographies),
    },
    Reference {
        key: "turian-1972",
        authors: "R. M. Turian",
        year: 1972,
        title: "Perturbation solution of the steady Newtonian flow in the cone and plate and parallel plate systems",
        journal: "Ind. Eng. Chem. Fundam.",
        volume: "11",
        pages: "361–368",
        ..NONE
    },
    Reference {
        key: "volk-2018",
        authors: "A. Volk & C. J. Kähler",
        year: 2018,
        title: "Density model for aqueous glycerol solutions",
        journal: "Exp. Fluids",
        volume: "59",
        pages: "75",
        checked: Checked::Place(Record::Bibliographies),
        ..NONE
    },
    Reference {
        key: "wyart-2014",
        authors: "M. Wyart & M. E. Cates",
        year: 2014,
        title: "Discontinuous shear thickening without inertia in dense non-Brownian suspensions",
        journal: "Phys. Rev. Lett.",
        volume: "112",
        pages: "098302",
        doi: "10.1103/PhysRevLett.112.098302",
        checked: Checked::Whole(Record::Bibliographies),
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_sorted_and_unique_and_hold_the_year() {
        assert!(ALL.windows(2).all(|w| w[0].key < w[1].key));
        for r in ALL {
            let standard = ["iapws", "iso", "jcgm"].iter().any(|s| r.key.starts_with(s));
            assert!(standard || r.key.ends_with(&r.year.to_string()), "{}", r.key);
            assert_eq!(find(r.key), Some(r));
        }
        assert_eq!(find("nobody-1900"), None);
    }

    #[test]
    fn entries_are_complete() {
        for r in ALL {
            assert!(!r.authors.is_empty() && !r.title.is_empty() && r.year > 1800, "{}", r.key);
            assert!(r.doi.is_empty() || r.doi.starts_with("10."), "{}", r.key);
            let text = r.printed();
            assert!(!text.contains("  ") && !text.contains(", ,"), "{text}");
        }
    }

    #[test]
    fn nothing_is_printed_that_was_not_confirmed() {
        for r in ALL {
            let text = r.printed();
            assert_eq!(text.contains(r.title), r.checked != Checked::Nothing, "{text}");
            let identified = matches!(r.checked, Checked::Whole(_) | Checked::TitleAndDoi(_));
            assert_eq!(text.contains("doi:"), identified, "{text}");
            assert!(!identified || !r.doi.is_empty(), "{} is said to have an identifier", r.key);
        }
        assert_eq!(
            find("maron-1956").map(Reference::printed).unwrap_or_default(),
            "S. H. Maron & P. E. Pierce, J. Colloid Sci. 11, 80–95 (1956)"
        );
    }

    #[test]
    fn an_article_is_printed_with_all_particulars() {
        assert_eq!(
            find("wyart-2014").map(Reference::printed).unwrap_or_default(),
            "M. Wyart & M. E. Cates, Discontinuous shear thickening without inertia in dense non-Brownian suspensions, \
             Phys. Rev. Lett. 112, 098302 (2014), doi:10.1103/PhysRevLett.112.098302"
        );
    }
}
