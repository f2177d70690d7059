using System.CommandLine;
using Stiltwright.Host.Commands;

var root = new RootCommand("Stiltwright enlarges pre-supported figures for resin printing: drop the file, collect the set.")
{
    PrepareVerb.Make(), CheckVerb.Make(), StagesVerb.Make(), ServeVerb.Make(), DemoVerb.Make(), StatusVerb.Make(), RecordVerb.Make(), TryMailVerb.Make(), WorkVerb.Make(), HandlersVerb.Make(),
};
return await CommandRunner.Run(root, args);
