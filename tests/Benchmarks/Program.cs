using Stiltwright.Benchmarks;

// dotnet run --project tests/Benchmarks -c Release -- folder DIR [--recipe enlarge-200] [--out DIR] [--only TEXT] [--program PATH]
if (args is ["folder", var folder, .. var rest]) return FolderTable.Print(folder, rest);
Console.Error.WriteLine("Use: folder DIR [--recipe NAME] [--out DIR] [--only TEXT] [--program PATH]   prepares every mesh in a folder and prints a table");
return 2;
