using System.CommandLine;
using System.Net.Sockets;
using MailKit;
using Stiltwright.Host.Mail;

namespace Stiltwright.Host.Commands;

/// <summary>try-mail: sends one mail now.</summary>
public static class TryMailVerb
{
    /// <summary>The verb.</summary>
    public static Command Make()
    {
        var address = new Argument<string>("ADDRESS") { Description = "Who gets the mail." };
        var config = CommonOptions.Config();
        var verb = new Command("try-mail", "Sends a trial mail and says what the mail server answered.") { address, config };
        verb.SetAction(async (parsed, cancel) =>
        {
            var to = parsed.GetRequiredValue(address);
            if (!SafeHeader.IsAddress(to))
            {
                Console.Error.WriteLine($"\"{to}\" is no mail address.");
                return ExitCode.WrongUse;
            }

            var (read, _) = CommonOptions.Read(parsed.GetRequiredValue(config));
            var sender = new SmtpSender(read.Host.Mail);
            if (!sender.HasServer)
            {
                Console.Error.WriteLine($"No mail server is set: write mail.server in {Path.Combine(read.Folder, "stiltwright.json")}.");
                return ExitCode.Kept;
            }

            try
            {
                await sender.Send(new MailWriter(read.Host.Mail, "", TimeProvider.System).Trial(to), cancel);
                Console.Out.WriteLine($"{read.Host.Mail.Server} took the mail to {to}.");
                return ExitCode.Ready;
            }
            catch (Exception e) when (e is MailRefusedException or SocketException or ProtocolException or CommandException or TimeoutException)
            {
                Console.Error.WriteLine($"The mail was not sent: {e.Message}");
                return ExitCode.Kept;
            }
        });
        return verb;
    }
}
