namespace Stiltwright.Host.Configuration;

/// <summary>The shapes of the configuration files and of the slip.</summary>
public static class FileShapes
{
    private static readonly TextShape SomeText = new();
    private static readonly NumberShape Coordinate = new("mm", -1e6, 1e6);

    /// <summary>When a recipe sends mail: that level or worse.</summary>
    public static readonly string[] MailWhen = ["always", "check", "stop", "never"];

    /// <summary>config/stiltwright.json.</summary>
    public static readonly GroupShape Host = new([
        new("share", SomeText, "Folder that holds the drop folders; --share overrides it."),
        new("state", SomeText, "Local folder for ledger, outbox, scratch and logs; never on the share. Default: the account's local data folder."),
        new("pluginFolders", new ListShape(SomeText), "The administrator's folders of stages, one sub-folder a stage, beside the program's own."),
        new("allowedPlugins", new ListShape(SomeText), "SHA-256 of each DLL that the administrator's folders may hold; empty: every one may be used."),
        new("ledger", new GroupShape([
            new("postgres", new TextShape([], true), "Database that several services share, e.g. \"Host=db.example.org;Database=stiltwright;Username=stiltwright\", without the password. Empty: SQLite in the state folder, for one service.", Default: ""),
            new("passwordFile", SomeText, "File that holds the password alone; else the environment variable STILTWRIGHT_LEDGER_PASSWORD is used."),
        ]), "Ledger and queues."),
        new("watch", new GroupShape([
            new("sweepS", new NumberShape("s", 0.2, 3600), "Pause between two looks at the share.", Default: 10),
            new("settleS", new NumberShape("s", 0, 3600), "A file is taken when size and time stood still that long.", Default: 15),
            new("patienceS", new NumberShape("s", 0, 86400), "How long a file may be shorter than it says it is before it is refused.", Default: 600),
            new("notifications", new TruthShape(), "Whether change notifications hasten the looks. Everything is found without them, only later by up to sweepS; turn them off where a share's are faulty.", Default: true),
        ]), "Watching the share."),
        new("worker", new GroupShape([
            new("memoryMiB", new NumberShape("MiB", 256, 1 << 20, true), "Memory that one job may use.", Default: 4096),
            new("timeLimitS", new NumberShape("s", 5, 86400), "Time that one job may take.", Default: 3600),
            new("parallel", new NumberShape("", 1, 64, true), "Small jobs at the same time.", Default: 1),
            new("largeFromMiB", new NumberShape("MiB", 1, 1 << 20), "A source of this size waits in the queue for large jobs, one at a time.", Default: 100),
            new("totalMiB", new NumberShape("MiB", 0, 1 << 22, true), "Memory that all jobs together may use; 0: three quarters of the machine's.", Default: 0),
            new("scratchMiB", new NumberShape("MiB", 64, 1 << 22, true), "What one job may write into its local folder.", Default: 20480),
        ]), "The child processes that do the work."),
        new("mail", new GroupShape([
            new("server", new TextShape([], true), "Mail server; without one, mails wait in the outbox as .eml files.", Default: ""),
            new("port", new NumberShape("", 1, 65535, true), "Its port.", Default: 587),
            new("security", new TextShape(["startTls", "tls", "none"]), "startTls, tls from the first byte, or none (a local relay without login only).", Default: "startTls"),
            new("user", new TextShape([], true), "Login name, empty for none.", Default: ""),
            new("passwordFile", SomeText, "File that holds the password alone; else the environment variable STILTWRIGHT_MAIL_PASSWORD is used."),
            new("from", SomeText, "Sender.", Default: "Stiltwright <stiltwright@localhost>"),
            new("certificateSha256", new TextShape([], true), "SHA-256 of the server's own certificate, where no authority vouches for it.", Default: ""),
            new("gatherS", new NumberShape("s", 0, 3600), "How long mails are gathered, so that many at once become one.", Default: 60),
            new("digestFrom", new NumberShape("", 2, 1000, true), "From so many waiting mails to the same people on, they become one.", Default: 4),
            new("quietFrom", new TextShape([], true), "Local time of day from which no mail is sent, e.g. \"22:00\"; empty for none.", Default: ""),
            new("quietTo", new TextShape([], true), "Local time of day until which no mail is sent.", Default: ""),
        ]), "Mail."),
        new("log", new GroupShape([
            new("level", new TextShape(["debug", "information", "warning", "error"]), "Least level that is logged.", Default: "information"),
            new("keepDays", new NumberShape("days", 1, 3650, true), "How long log files are kept.", Default: 31),
        ]), "Log files in the state folder."),
        new("metrics", new GroupShape([
            new("everyS", new NumberShape("s", 0, 3600), "Pause between two writings of metrics.txt in the state folder (OpenMetrics text); 0: it is not written.", Default: 0),
        ]), "The service's figures about itself. Read at a start."),
        new("keep", new GroupShape([
            new("replacedDays", new NumberShape("days", 1, 36500, true), "How long a set that a newer one replaced is kept in .stiltwright/replaced.", Default: 30),
            new("recordsDays", new NumberShape("days", 1, 36500, true), "How long the text of sent mails, and jobs that came to nothing, stay in the ledger.", Default: 90),
        ]), "How long things are kept."),
    ]);

    /// <summary>config/folders/NAME.json. The stages' own settings are checked against the stages' types.</summary>
    public static readonly GroupShape Recipe = new([
        new("target", new GroupShape([
            new("percent", new NumberShape("%", 10, 5000), "Enlargement in percent."),
            new("heightMm", new NumberShape("mm", 1, 5000), "Height of the standing figure, own base included."),
            new("from", new NumberShape("mm", 1, 10000), "Scale the source was drawn at, with \"to\"."),
            new("to", new NumberShape("mm", 1, 10000), "Scale wanted, with \"from\"."),
        ]), "What the figure is to become: percent, heightMm, or from and to.", true),
        new("sourceMm", new ListShape(new NumberShape("mm", 0.1, 10000), 2, 2), "Standing height expected of a source, least and most; outside it a person looks."),
        new("printers", new ListShape(SomeText, 1), "Names of printer files, tried in order.", true),
        new("resin", SomeText, "Name of a resin file.", true),
        new("mail", new GroupShape([
            new("to", new ListShape(SomeText, 1), "Who gets a mail.", true),
            new("when", new TextShape(MailWhen), "That level or worse.", Default: "check"),
        ]), "Mail."),
        new("stages", new ListShape(new GroupShape([
            new("stage", SomeText, "Name of the stage.", true),
        ], OthersAllowed: true), 1), "The stages in order, each with its settings.", true),
        new("slipMayChange", new ListShape(SomeText), "Settings that a slip may change, each as \"stage.setting\"."),
    ]);

    /// <summary>NAME.slip.json beside a source.</summary>
    public static readonly GroupShape Slip = new([
        new("front", Three, "The figure's front, a direction in the source's coordinates."),
        new("up", Three, "The figure's up, a direction in the source's coordinates."),
        new("noHoles", new ListShape(Box, 0, 1000), "Boxes in which no hole may be drilled."),
        new("keepSolid", new ListShape(Box, 0, 1000), "Boxes that stay solid."),
        new("change", new GroupShape([], OthersAllowed: true), "Settings of the recipe changed for this figure, each \"stage.setting\": value, where the recipe's slipMayChange lists it."),
    ]);

    /// <summary>config/resins/NAME.json; the ranges are those of the defaults' table, wide enough for odd resins.</summary>
    public static readonly GroupShape Resin = new([
        N("curedDensity", "g/cm3", 0.8, 2.5, 1.18, "Density of the cured resin."),
        N("liquidDensity", "g/cm3", 0.8, 2.5, 1.10, "Density of the liquid."),
        N("viscosityPaS", "Pa s", 0.01, 20, 0.30, "Viscosity at 25 degrees C."),
        N("surfaceTensionNPerM", "N/m", 0.01, 0.08, 0.035, "Surface tension."),
        N("pricePerKg", "currency/kg", 0, 10000, 40, "Price of a kilogram, in the printer file's currency."),
        N("wasteShare", "", 0, 1, 0.10, "Share of resin lost to wipes, filters and films."),
        N("layerMm", "mm", 0.005, 0.3, 0.05, "Thickness of a layer."),
        W("baseLayers", 0, 100, 6, "Number of base layers."),
        W("transitionLayers", 0, 100, 6, "Transition layers after the base layers."),
        N("baseExposureS", "s", 0.1, 300, 30, "Exposure of a base layer."),
        N("exposureS", "s", 0.1, 120, 2.5, "Exposure of a normal layer."),
        N("separationStressKPa", "kPa", 1, 200, 20, "Separation stress of a compact layer at the reference lift speed."),
        N("slenderShare", "", 0.1, 1, 0.5, "Share of the separation stress left for very slender shapes."),
        N("speedExponent", "", 0, 1, 0.5, "Speed exponent of the separation stress."),
        N("approachShare", "", 0, 3, 1.0, "Approach load divided by peel load."),
        N("greenStrengthMPa", "MPa", 1, 100, 20, "Green (as printed) tensile strength."),
        N("greenModulusMPa", "MPa", 10, 5000, 800, "Green modulus in build direction."),
        N("tipShare", "", 0.1, 1, 0.5, "Reduction of a contact tip's strength."),
        N("poissonRatio", "", 0.05, 0.499, 0.40, "Poisson ratio."),
        N("cupPressureKPa", "kPa", 1, 101.325, 50, "Design pressure of an unvented cup; no more than the air's."),
        N("cupPressureOkKPa", "kPa", 0.1, 20, 2, "Cup pressure that needs no action."),
    ]);

    /// <summary>config/printers/NAME.json.</summary>
    public static readonly GroupShape Printer = new([
        N("widthMm", "mm", 10, 3000, null, "Usable platform in x."),
        N("depthMm", "mm", 10, 3000, null, "Usable platform in y."),
        N("heightMm", "mm", 10, 3000, null, "Usable height."),
        N("marginMm", "mm", 0, 100, 3, "Kept free at every side of the platform."),
        N("pixelMm", "mm", 0.005, 0.5, 0.05, "Pixel pitch of the screen."),
        N("vatMl", "ml", 10, 100000, 800, "Resin that the vat holds when full."),
        N("vatLeastMl", "ml", 0, 100000, 200, "Resin that must stay in the vat."),
        N("platformCarriesKg", "kg", 0.1, 500, 4, "Weight that the platform arm carries."),
        N("platformGripMPa", "MPa", 0.001, 10, 0.1, "Grip of the raft on the platform."),
        N("liftMm", "mm", 0.5, 50, 7, "Lift distance."),
        N("liftSpeedMmS", "mm/s", 0.05, 50, 1.0, "Lift speed."),
        N("retractSpeedMmS", "mm/s", 0.05, 50, 3.0, "Retract speed."),
        N("waitS", "s", 0, 60, 1.0, "Waits in a layer."),
        N("startStopS", "s", 0, 3600, 120, "Start and stop of a run."),
        N("referenceLiftSpeedMmS", "mm/s", 0.05, 50, 1.0, "Lift speed that the resin's separation stress refers to."),
        new("currency", new TextShape(), "Currency of all amounts.", Default: "EUR"),
        N("ratePerHour", "currency/h", 0, 10000, 1.5, "Machine rate."),
        N("labourHours", "h", 0, 1000, 0.75, "Labour of a set."),
        N("wagePerHour", "currency/h", 0, 10000, 25, "Wage."),
        N("fixedPerRun", "currency", 0, 10000, 1.2, "Film, gloves, wash fluid of a run."),
    ]);

    private static ListShape Three => new(Coordinate, 3, 3);

    private static GroupShape Box => new([
        new("from", Three, "One corner, source coordinates, mm.", true),
        new("to", Three, "The opposite corner.", true),
    ]);

    private static Field N(string key, string unit, double least, double most, double? fallback, string meaning) =>
        new(key, new NumberShape(unit, least, most), meaning, fallback is null, fallback);

    private static Field W(string key, int least, int most, int fallback, string meaning) =>
        new(key, new NumberShape("", least, most, true), meaning, false, fallback);
}
