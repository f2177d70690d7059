using System.Globalization;
using System.Text;
using Stiltwright.Host.Jobs;

namespace Stiltwright.Faults;

/// <summary>What a trial of several services says when nothing gets on: where each unfinished job stands, with whom, and since when; what the engine holds; what the services said last.</summary>
internal static class ServicesStall
{
    private const int LastLines = 12;

    private static readonly (string What, string Sql)[] Questions =
    [
        ("jobs by state, owner and age", "SELECT state || ' ' || owner || ' run ' || MIN(fence) || '-' || MAX(fence) || ' attempts ' || MIN(attempts) || '-' || MAX(attempts) || ' since ' || MIN(changed) || ': ' || COUNT(*) || ' ' || COALESCE(MIN(sentence), '') FROM ledger_jobs WHERE state NOT IN ('done', 'parked', 'dropped') GROUP BY state, owner"),
        ("mails that wait, by owner", "SELECT state || ' ' || owner || ': ' || COUNT(*) || ', least tries ' || MIN(tries) || ' ' || MIN(reason) FROM ledger_mails WHERE state = 'waiting' GROUP BY state, owner"),
        ("signs of life, ms ago", "SELECT pc || ' ' || ((EXTRACT(EPOCH FROM clock_timestamp()) * 1000)::bigint - beat) FROM ledger_pcs"),
        ("engine: in the inbox", $"SELECT received_at || ' ' || status || ' node ' || owner_id || ': ' || COUNT(*) FROM {Engine.Schema}.wolverine_incoming_envelopes GROUP BY received_at, status, owner_id"),
        ("engine: on the way out", $"SELECT destination || ' node ' || owner_id || ': ' || COUNT(*) FROM {Engine.Schema}.wolverine_outgoing_envelopes GROUP BY destination, owner_id"),
        ("engine: nodes", $"SELECT node_number || ' ' || health_check FROM {Engine.Schema}.wolverine_nodes"),
        ("engine: who does what", $"SELECT id || ' node ' || node_id FROM {Engine.Schema}.wolverine_node_assignments"),
        ("engine: queues", $"SELECT table_schema || '.' || table_name || ' ' || (xpath('/row/n/text()', query_to_xml(format('SELECT COUNT(*) AS n FROM %I.%I', table_schema, table_name), false, true, '')))[1]::text FROM information_schema.tables WHERE table_name LIKE 'wolverine_queue%'"),
        ("sessions", "SELECT application_name || ' ' || COALESCE(state, '') || ' ' || COALESCE(wait_event_type, '') || ': ' || COUNT(*) || ', oldest change ' || MIN(state_change) FROM pg_stat_activity WHERE datname = current_database() GROUP BY application_name, state, wait_event_type"),
        ("locks that are waited for", "SELECT locktype || ' ' || mode || ' by ' || pid FROM pg_locks WHERE NOT granted"),
    ];

    /// <summary>Tells it, one thing a line.</summary>
    public static string Say(LedgerStore store, IEnumerable<string> stateFolders)
    {
        var said = new StringBuilder();
        foreach (var (what, sql) in Questions)
        {
            said.AppendLine(CultureInfo.InvariantCulture, $"  {what}:");
            try
            {
                using var db = store.Open();
                using var command = db.CreateCommand();
                command.CommandText = sql;
                using var reader = command.ExecuteReader();
                while (reader.Read()) said.AppendLine(CultureInfo.InvariantCulture, $"    {reader.GetValue(0)}");
            }
            catch (System.Data.Common.DbException e)
            {
                said.AppendLine(CultureInfo.InvariantCulture, $"    cannot be asked: {e.Message}");
            }
        }

        foreach (var state in stateFolders)
        {
            said.AppendLine(CultureInfo.InvariantCulture, $"  the last that {Path.GetFileName(state)} said:");
            var logs = Path.Combine(state, "logs");
            if (!Directory.Exists(logs)) continue;
            foreach (var log in Directory.GetFiles(logs, "*.log").Order(StringComparer.Ordinal).TakeLast(1))
            {
                using var open = new FileStream(log, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
                using var reader = new StreamReader(open);
                foreach (var line in reader.ReadToEnd().Split('\n', StringSplitOptions.RemoveEmptyEntries).TakeLast(LastLines)) said.AppendLine(CultureInfo.InvariantCulture, $"    {line}");
            }
        }

        return said.ToString();
    }
}
