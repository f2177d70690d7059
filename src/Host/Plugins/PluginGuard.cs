using System.Runtime.Versioning;
using System.Security.AccessControl;
using System.Security.Cryptography;
using System.Security.Principal;

namespace Stiltwright.Host.Plugins;

/// <summary>
/// What keeps strangers' code out of the worker. A stage runs with the rights of the service, so whoever can write to a
/// plug-in folder has those rights: a folder that ordinary users can write to is refused.
/// </summary>
public static class PluginGuard
{
    /// <summary>The first of a plug-in folder, the folders above it and all that lies in it that ordinary users can write to; null if none.</summary>
    public static string? WritableByOthers(string folder)
    {
        var full = Path.GetFullPath(folder);
        for (var above = Directory.GetParent(full); above is not null; above = above.Parent)
        {
            // In a folder with the sticky bit nobody can rename what is another's.
            if (OperatingSystem.IsWindows() || (ModeOf(above.FullName) & UnixFileMode.StickyBit) != 0) continue;
            if (CanWrite(above.FullName)) return above.FullName;
        }

        if (CanWrite(full)) return full;
        return Directory.EnumerateFileSystemEntries(full, "*", SearchOption.AllDirectories).FirstOrDefault(CanWrite);
    }

    /// <summary>The first DLL of a plug-in's folder whose SHA-256 is not in the list; null if all are.</summary>
    public static (string Path, string Sha256)? NotAllowed(string folder, IReadOnlyList<string> allowed)
    {
        foreach (var dll in Directory.GetFiles(folder, "*.dll", SearchOption.AllDirectories).Order(StringComparer.Ordinal))
        {
            using var s = File.OpenRead(dll);
            var sha = Convert.ToHexStringLower(SHA256.HashData(s));
            if (!allowed.Contains(sha, StringComparer.OrdinalIgnoreCase)) return (dll, sha);
        }

        return null;
    }

    private static bool CanWrite(string path) => OperatingSystem.IsWindows() ? CanWriteOnWindows(path) : (ModeOf(path) & UnixFileMode.OtherWrite) != 0;

    [UnsupportedOSPlatform("windows")]
    private static UnixFileMode ModeOf(string path) => File.GetUnixFileMode(path);

    [SupportedOSPlatform("windows")]
    private static bool CanWriteOnWindows(string path)
    {
        const FileSystemRights Writing = FileSystemRights.WriteData | FileSystemRights.AppendData | FileSystemRights.Delete
            | FileSystemRights.DeleteSubdirectoriesAndFiles | FileSystemRights.ChangePermissions | FileSystemRights.TakeOwnership;
        FileSystemSecurity security = Directory.Exists(path) ? new DirectoryInfo(path).GetAccessControl() : new FileInfo(path).GetAccessControl();
        foreach (FileSystemAccessRule rule in security.GetAccessRules(true, true, typeof(SecurityIdentifier)))
        {
            var who = (SecurityIdentifier)rule.IdentityReference;
            if (rule.AccessControlType == AccessControlType.Allow && (rule.FileSystemRights & Writing) != 0
                && (who.IsWellKnown(WellKnownSidType.WorldSid) || who.IsWellKnown(WellKnownSidType.AuthenticatedUserSid) || who.IsWellKnown(WellKnownSidType.BuiltinUsersSid)))
                return true;
        }

        return false;
    }
}
