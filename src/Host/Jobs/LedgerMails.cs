using System.Globalization;
using Dapper;

namespace Stiltwright.Host.Jobs;

/// <summary>The mails in the ledger.</summary>
public sealed partial class Ledger
{
    private static readonly TimeSpan LongestWait = TimeSpan.FromHours(25);

    private const string MailSql =
        "INSERT INTO ledger_mails (id, job, level, recipients, subject, bytes, state, created, owner, due) VALUES (@Id, @Job, @Level, @Recipients, @Subject, @Bytes, 'waiting', @Created, @Owner, @Created) ON CONFLICT DO NOTHING";

    /// <summary>Mails that wait, oldest first.</summary>
    public IReadOnlyList<MailRow> WaitingMails()
    {
        using var db = Open();
        return db.Query<MailRow>("SELECT * FROM ledger_mails WHERE state = 'waiting' ORDER BY created, id").AsList();
    }

    /// <summary>How many mails wait.</summary>
    public long WaitingMailCount()
    {
        using var db = Open();
        return db.ExecuteScalar<long>("SELECT COUNT(*) FROM ledger_mails WHERE state = 'waiting'");
    }

    /// <summary>Ids of mails whose message should have come at least so long ago, oldest first.</summary>
    public IReadOnlyList<string> Overdue(TimeSpan atLeast)
    {
        using var db = Open();
        // A time far in the future was written before the clock was set back; no mail is due later than the end of quiet hours.
        return db.Query<string>("SELECT id FROM ledger_mails WHERE state = 'waiting' AND (due <= @before OR due > @never) ORDER BY created, id", new { before = Before(atLeast), never = Before(-LongestWait) }).AsList();
    }

    /// <summary>Notes that a message for a mail comes so long from now.</summary>
    public void NoteDue(string id, TimeSpan later)
    {
        using var db = Open();
        db.Execute("UPDATE ledger_mails SET due = @due WHERE id = @id AND state = 'waiting'", new { id, due = Before(-later) });
    }

    /// <summary>Makes all mails that wait due now.</summary>
    public void AllDue()
    {
        using var db = Open();
        db.Execute("UPDATE ledger_mails SET due = @now WHERE state = 'waiting'", new { now = Now() });
    }

    /// <summary>How long before its time a message for that mail comes; zero where it comes in time, or where nothing is to be made of the time noted.</summary>
    public TimeSpan Early(MailRow mail)
    {
        if (mail.Due.Length == 0) return TimeSpan.Zero;
        var left = Parsed(mail.Due) - UtcNow;
        return left > TimeSpan.Zero && left < LongestWait ? left : TimeSpan.Zero;
    }

    /// <summary>Gives back the mails that this service had in hand when it ended last: it has none in hand yet.</summary>
    public void ReleaseMails()
    {
        using var db = Open();
        db.Execute("UPDATE ledger_mails SET owner = '' WHERE owner = @Pc AND state = 'waiting'", new { Pc });
    }

    /// <summary>Mails that were not sent, refused ones too, without their bytes.</summary>
    public IReadOnlyList<MailRow> UnsentMails()
    {
        using var db = Open();
        return db.Query<MailRow>("SELECT id, job, level, recipients, subject, state, tries, reason, created FROM ledger_mails WHERE state IN ('waiting', 'refused') ORDER BY created, id LIMIT 200").AsList();
    }

    /// <summary>A mail by id.</summary>
    public MailRow? Mail(string id)
    {
        using var db = Open();
        return db.QueryFirstOrDefault<MailRow>("SELECT * FROM ledger_mails WHERE id = @id", new { id });
    }

    /// <summary>
    /// Takes a mail that waits, so that no other service sends it at the same time; null if it waits no more or another
    /// service that lives has it in hand. <see cref="NoteMail"/> gives it back.
    /// </summary>
    public MailRow? TakeMail(string id)
    {
        Beat();
        using var db = Open();
        return db.QueryFirstOrDefault<MailRow>(
            $"UPDATE ledger_mails SET owner = @Pc WHERE id = @id AND state = 'waiting' AND (owner IN ('', @Pc) OR NOT EXISTS (SELECT 1 FROM ledger_pcs p WHERE p.pc = owner AND {_store.IsAlive})) RETURNING *",
            new { id, Pc });
    }

    /// <summary>The mail about a job at a level.</summary>
    public MailRow? MailOf(string job)
    {
        using var db = Open();
        return db.QueryFirstOrDefault<MailRow>("SELECT * FROM ledger_mails WHERE job = @job AND state = 'waiting' LIMIT 1", new { job });
    }

    private static DateTimeOffset Parsed(string iso) => DateTimeOffset.Parse(iso, CultureInfo.InvariantCulture);

    /// <summary>Notes a try of a mail, and that nobody has it in hand any more.</summary>
    public void NoteMail(string id, string state, string reason, bool tried)
    {
        using var db = Open();
        db.Execute("UPDATE ledger_mails SET state = @state, owner = '', reason = @reason, tries = tries + @one, sent = CASE WHEN @state = 'sent' THEN @now ELSE sent END WHERE id = @id AND state <> 'sent'",
            new { id, state, reason = Storable(reason), one = tried ? 1 : 0, now = Now() });
    }

    /// <summary>
    /// Puts one mail in the place of several that wait, in one step. False, and nothing done, if any of them waits no more.
    /// </summary>
    public bool Gather(MailRow digest, IReadOnlyList<string> ids)
    {
        using var db = Open();
        using var tx = db.BeginTransaction();
        digest.Created = Now();
        digest.Owner = Pc;
        var (list, values) = OneOf(ids);
        values.AddDynamicParams(new { digest.Id, Pc });
        var taken = db.Execute($"UPDATE ledger_mails SET state = 'gathered', reason = @Id WHERE id IN {list} AND state = 'waiting' AND tries = 0 AND owner IN ('', @Pc)", values, tx);
        if (taken != ids.Count) return false;
        db.Execute(MailSql, digest, tx);
        tx.Commit();
        return true;
    }

    /// <summary>Forgets the bytes of mails that were sent or gathered long ago.</summary>
    public int ForgetMails(TimeSpan olderThan)
    {
        using var db = Open();
        return db.Execute("UPDATE ledger_mails SET bytes = @none WHERE state IN ('sent', 'gathered') AND created < @before AND LENGTH(bytes) > 0", new { none = Array.Empty<byte>(), before = Before(olderThan) });
    }
}
