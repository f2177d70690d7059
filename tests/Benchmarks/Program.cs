using Stiltwright.Benchmarks;
using Stiltwright.Benchmarks.Peers;

// dotnet run --project tests/Benchmarks -c Release -- folder DIR [--recipe enlarge-200] [--out DIR] [--only TEXT] [--program PATH]
// dotnet run --project tests/Benchmarks -c Release -- peers DIR [--only T1,T4] [--runs 5] [--limit SECONDS]
// dotnet run --project tests/Benchmarks -c Release -- kernel-table DIR [--only TEXT]
// dotnet run --project tests/Benchmarks -c Release -- roles-table DIR [--only TEXT]
// dotnet run --project tests/Benchmarks -c Release -- cavity-table SIZE_MM FILE...
if (args is ["folder", var folder, .. var rest]) return FolderTable.Print(folder, rest);
if (args is ["peers", var peers, .. var peerOptions]) return PeerTable.Print(peers, peerOptions);
if (args is ["kernel-table", var meshes, .. var tableOptions]) return KernelTable.Print(meshes, tableOptions);
if (args is ["roles-table", var supported, .. var rolesOptions]) return RolesTable.Print(supported, rolesOptions);
if (args is ["cavity-table", var size, .. var bodies]) return CavityTable.Print(bodies, double.Parse(size, System.Globalization.CultureInfo.InvariantCulture));
Console.Error.WriteLine("Use: folder DIR [--recipe NAME] [--out DIR] [--only TEXT] [--program PATH]   prepares every mesh in a folder and prints a table");
Console.Error.WriteLine("     peers DIR [--only T1,T4] [--runs 5] [--limit SECONDS]   the kernel beside the programs in DIR/build, on the files in DIR/inputs, as ratios");
Console.Error.WriteLine("     kernel-table DIR [--only TEXT]   every mesh in a folder through every operation: closed, crossings, volumes");
Console.Error.WriteLine("     cavity-table SIZE_MM FILE...   cavities of sharp and round bodies and of the files, scaled to a size: wall, deeper than asked, crossings");
Console.Error.WriteLine("     roles-table DIR [--only TEXT]   every NAME.stl with a NAME.truth.json: struts recognised, radii, figure kept");
return 2;
