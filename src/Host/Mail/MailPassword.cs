using Stiltwright.Host.Configuration;

namespace Stiltwright.Host.Mail;

/// <summary>Where the password of the mail server comes from: the environment or a file of its own, never the settings.</summary>
public static class MailPassword
{
    /// <summary>Name of the environment variable.</summary>
    public const string Variable = "STILTWRIGHT_MAIL_PASSWORD";

    /// <summary>The password; null where none is given.</summary>
    public static string? Read(MailSettings settings) =>
        settings.PasswordFile is { } path ? File.ReadAllText(path).TrimEnd('\r', '\n') : Environment.GetEnvironmentVariable(Variable);
}
