using System.Globalization;

namespace Stiltwright.Host.Mail;

/// <summary>The part of a day in which no mail is sent, in local time; it may go over midnight.</summary>
public static class QuietHours
{
    /// <summary>Reads a time of day such as 22:00.</summary>
    public static bool TryTime(string text, out TimeOnly time) =>
        TimeOnly.TryParseExact(text, "H:mm", CultureInfo.InvariantCulture, DateTimeStyles.None, out time);

    /// <summary>How long the quiet hours last from now on; null where it is not quiet, or none are set.</summary>
    public static TimeSpan? Left(string from, string to, DateTimeOffset localNow)
    {
        if (!TryTime(from, out var begin) || !TryTime(to, out var end) || begin == end) return null;
        var now = TimeOnly.FromTimeSpan(localNow.TimeOfDay);
        // IsBetween takes a range over midnight as such; the difference of two times of day is never negative.
        return now.IsBetween(begin, end) ? end - now : null;
    }
}
