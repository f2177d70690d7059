Console.Error.WriteLine("Use a verb; see --help.");
return 2;
